"""Keeping what is held, and proving that it is sound."""
