"""Measurements of rolls: previews, brightness, quality. Records will lie in a volume's ``survey/`` folder."""
