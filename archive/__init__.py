"""Noctuary: a project archive and non-destructive edit history for night-sky photographers."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from archive.workspace import open_archive as open_archive

__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Load the Python API on first use, so that importing a part stays cheap."""
    if name == "open_archive":
        from archive.workspace import open_archive

        return open_archive
    raise AttributeError(name)
