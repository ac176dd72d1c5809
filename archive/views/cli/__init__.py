"""The ``noctuary`` command: parse, one call on the workspace, one report."""
