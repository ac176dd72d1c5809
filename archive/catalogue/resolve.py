"""What people typed, found: frames and sequences by address, file name or the start of an id."""

from __future__ import annotations

from dataclasses import dataclass

from archive.catalogue.index import Catalogue
from archive.catalogue.pairs import frames_now
from archive.catalogue.spellings import spellings
from archive.errors import UsageError, shown
from archive.model.address import Address, parse_address
from archive.model.capture import Frame
from archive.model.identity import short
from archive.model.listing import SequenceLine

_MOST = 8


@dataclass(frozen=True, kw_only=True)
class Found:
    """Frames in order, and the sequence they were asked for by, if it was one."""

    frames: tuple[Frame, ...]
    sequence: SequenceLine | None = None


def find(catalogue: Catalogue, text: str) -> Found:
    """The frames that an address names: a night's, a camera's in it, a sequence's or a part, or one.

    Raises
    ------
    UsageError : when nothing is found; it lists what comes near.
    """
    address = parse_address(shown(text))
    if address.night is None:
        return Found(frames=tuple(_named(catalogue, address)))
    if address.number is not None and address.camera is not None:
        return _in_sequence(catalogue, address)
    camera = _camera_id(catalogue, address.camera) if address.camera else None
    frames = catalogue.frames(night=address.night, camera=camera)
    if not frames:
        held = ", ".join(line.night for line in catalogue.nights()[-_MOST:]) or "none yet"
        raise UsageError(
            f"There is no frame of {shown(text)}.", hint=f"Nights held here: {held}. See `noctuary nights`."
        )
    return Found(frames=tuple(frames))


def find_one(catalogue: Catalogue, text: str) -> Frame:
    """The one frame that an address names.

    Raises
    ------
    UsageError : when there is none, or several; then the candidates are listed.
    """
    found = find(catalogue, text).frames
    if len(found) > 1:
        candidates = "; ".join(f"{f.night} {shown(f.name)} {short(f.id)}" for f in found[:_MOST])
        more = f" and {len(found) - _MOST} more" if len(found) > _MOST else ""
        raise UsageError(
            f"{shown(text)} names {len(found)} frames, one is needed.",
            hint=f"They are: {candidates}{more}. Name one by the start of its id.",
        )
    return found[0]


def find_sequence(catalogue: Catalogue, text: str) -> SequenceLine:
    """The sequence that an address names.

    Raises
    ------
    UsageError : when it names none.
    """
    found = find(catalogue, text)
    if found.sequence is None:
        raise UsageError(
            f"{shown(text)} names no sequence.",
            hint="Write NIGHT/CAMERA/NUMBER; `noctuary sequences` lists them.",
        )
    return found.sequence


def _in_sequence(catalogue: Catalogue, address: Address) -> Found:
    camera = _camera_id(catalogue, address.camera or "")
    lines = [line for line in catalogue.sequences(address.night, camera) if line.number == address.number]
    if not lines and address.night is not None and address.number is not None:
        # Joined to another, or numbered apart before archives were united: its old number still finds it.
        key = catalogue.sequence_claimed(camera, address.night, address.number)
        lines = [line for line in catalogue.sequences(camera=camera) if line.key == key] if key else []
    if not lines:
        held = ", ".join(line.address for line in catalogue.sequences()[-_MOST:]) or "none yet"
        raise UsageError(
            f"There is no sequence {shown(address.text.partition('#')[0])}.",
            hint=f"Sequences held here: {held}. See `noctuary sequences`.",
        )
    line = lines[0]
    if address.first is None or address.last is None:
        return Found(frames=tuple(catalogue.frames(sequence=line.key)), sequence=line)
    frames = catalogue.frames(sequence=line.key, between=(address.first, address.last))
    if not frames or address.last > line.frames:
        raise UsageError(
            f"{shown(address.text)} asks for more frames than there are.",
            hint=f"{line.address} has frames #1..{line.frames}.",
        )
    return Found(frames=tuple(frames), sequence=line if len(frames) > 1 else None)


def _named(catalogue: Catalogue, address: Address) -> list[Frame]:
    frames = catalogue.frames(name=address.name)
    if not frames and address.digits is not None:
        frames = catalogue.frames(id_start=f"xxh128:{address.digits}")
        if not frames and len(address.digits) == 32:
            frames = _by_companion(catalogue, f"xxh128:{address.digits}")
    for name in spellings(address.name)[1:] if address.name is not None else ():
        frames = frames or catalogue.frames(name=name)
    if not frames:
        raise UsageError(
            f"No frame matches {shown(address.text)}.",
            hint="Name one as NIGHT/CAMERA/NUMBER#FRAME, by its camera file name, or by 8 or more digits "
            "of its id; `noctuary frames NIGHT` lists them.",
        )
    return frames


def _by_companion(catalogue: Catalogue, digest: str) -> list[Frame]:
    masters = [master for _, _, master in catalogue.files_by_digest(digest) if master]
    return list(frames_now(catalogue, [digest, *masters]).values())


def _camera_id(catalogue: Catalogue, name: str) -> str:
    cameras = catalogue.cameras().values()
    for camera in cameras:
        if name in (camera.name, camera.id):
            return camera.id
    names = ", ".join(sorted(camera.name for camera in cameras)) or "none yet"
    raise UsageError(f"No camera is called {shown(name)}.", hint=f"Cameras known here: {names}.")
