"""How much memory there is for frames, and how large one may be to be developed with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

# Bytes a pixel or sample, measured: what a frame takes at most, in both processes, developed at full size.
_MOSAIC, _PICTURE = 40, 48
# One that is large for the memory is decoded alone, which takes half as much, but while another is developed.
# Mosaics are small until they are developed.
_BESIDE_ANOTHER = 1.5
# The rest is what the system and other programs need.
_SHARE = 0.875


@dataclass(frozen=True, kw_only=True)
class Room:
    """The bytes there are for frames, None where that is not known, and how many are decoded at a time."""

    memory: int | None
    frames: int

    def wanted(self, pixels: int, layout: str, size: int) -> int:
        """Bytes that there must be for one frame.

        Parameters
        ----------
        layout : of the decoder's answer: ``mosaic``, ``linear`` or ``picture``. size : bytes of the file.
        """
        if layout == "mosaic":
            return _MOSAIC * pixels + size
        return int(_PICTURE * (_BESIDE_ANOTHER if self.frames > 1 else 1) * pixels) + size

    def share_of_pixels(self, size: int) -> int | None:
        """How many pixels pictures may have of which several are decoded at a time."""
        if self.memory is None:
            return None
        return max(0, self.memory // self.frames - size) // _PICTURE


def usable(system: Path = Path("/")) -> int | None:
    """Bytes that this process and those it starts may take, as the system tells; None where it does not.

    It is the least of the machine's memory and the limit of this group of processes (Linux), less an eighth
    for all else, and what is left of this process's own address space (RLIMIT_AS).

    Parameters
    ----------
    system : where the system's ``proc`` and ``sys`` folders lie.
    """
    found = [int(_SHARE * each) for each in (_physical(), *_group_limits(system)) if each is not None]
    left = _address_space_left(system)
    return min([*found, *([] if left is None else [left])], default=None)


def _physical() -> int | None:
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, ValueError, OSError):
        return None


def _group_limits(system: Path) -> Iterator[int]:
    """Limits of the control groups that this process is in, of both versions, and of those around them."""
    for line in _text(system / "proc/self/cgroup").splitlines():
        number, _, rest = line.partition(":")
        controllers, _, path = rest.partition(":")
        if number == "0":
            root, name = system / "sys/fs/cgroup", "memory.max"
        elif "memory" in controllers.split(","):
            root, name = system / "sys/fs/cgroup/memory", "memory.limit_in_bytes"
        else:
            continue
        folder = root / path.lstrip("/")
        for each in (folder, *folder.parents):
            if (told := _text(each / name).strip()).isdecimal():
                yield int(told)
            if each == root:
                break


def _address_space_left(system: Path) -> int | None:
    try:
        import resource
    except ImportError:
        return None
    limit, _ = resource.getrlimit(resource.RLIMIT_AS)
    if limit == resource.RLIM_INFINITY:
        return None
    # Pages of address space that are taken already (proc(5), statm).
    taken = _text(system / "proc/self/statm").split()
    return max(0, limit - int(taken[0]) * os.sysconf("SC_PAGE_SIZE")) if taken else limit


def _text(path: Path) -> str:
    try:
        return path.read_text("ascii", "replace")
    except OSError:
        return ""
