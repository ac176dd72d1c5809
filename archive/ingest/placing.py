"""Where a card's files go: one roll for each camera and night, decided before the first byte is copied."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from archive.errors import UsageError, shown
from archive.formats.incoming import Placement, PlannedRoll
from archive.ingest.card import CardFile
from archive.ingest.stored_names import escaped_original, stored_path
from archive.model.capture import Camera, CaptureFacts, Role
from archive.model.identity import derived_key, new_token
from archive.model.place import ClockCorrection, Site
from archive.nights.capture_time import capture_time

_FRAME_ROLES = (Role.RAW, Role.PICTURE, Role.CLIP)


@dataclass(frozen=True, kw_only=True)
class Known:
    """What the archive knows that decides placements: bodies by id, clock corrections, the card's site."""

    cameras: Mapping[str, Camera]
    clocks: Callable[[str], list[ClockCorrection]]
    site: Site | None


def camera_key(make: str, model: str, serial: str) -> str:
    """The id of a body; the same wherever and whenever it is met."""
    return "camera:" + derived_key("camera", make, model, serial).removeprefix("sha256:")[:16]


def body_of(facts: CaptureFacts | None) -> tuple[str, str, str]:
    """Make, model and serial of the body that wrote a file; empty where unknown.

    Serials of fewer than four characters or of zeros only are no serials: some bodies count shots there.
    """
    if facts is None:
        return "", "", ""
    serial = facts.serial or ""
    if len(serial) < 4 or not serial.strip("0"):
        serial = ""
    return facts.make or "", facts.model or "", serial


def cameras_on(
    files: Iterable[CardFile], known: Mapping[str, Camera], call_it: str | None
) -> dict[str, Camera]:
    """Bodies on a card that the archive has not met, with a name for each.

    Raises
    ------
    UsageError : when ``call_it`` names a body, and the card holds several new ones or the name is in use.
    """
    # Asked of the same judge that places the files: whatever it answers must have a name.
    everything = tuple(files)
    bodies = {
        camera_key(*body): body for body in (body_of(f.facts) for f in everything if f.role in _FRAME_ROLES)
    }
    fresh = {
        key: bodies.get(key, ("", "", "")) for key in _camera_of_each(everything).values() if key not in known
    }
    named = {key: body for key, body in fresh.items() if any(body)}
    taken = {camera.name for camera in known.values()}
    if call_it is not None:
        if len(named) > 1:
            listed = ", ".join(sorted(shown(" ".join(body).strip()) for body in named.values()))
            raise UsageError(
                f"This card holds frames of {len(named)} cameras that are new here: {listed}.",
                hint="Nothing was copied. Leave --camera out; each gets a name from its model.",
            )
        call_it = _slug(call_it)
        if named and call_it in taken:
            raise UsageError(
                f"Another camera is called {call_it} already.",
                hint="Nothing was copied. Choose another name with --camera.",
            )
    found = {}
    for key, (make, model, serial) in sorted(fresh.items(), key=lambda item: (item[1], item[0])):
        wanted = call_it if call_it and key in named else _slug(model or make or "unknown")
        name, count = wanted, 1
        while name in taken:
            count += 1
            name = f"{wanted}-{count}"
        taken.add(name)
        found[key] = Camera(id=key, name=name, make=make, model=model, serial=serial)
    return found


def place(
    files: tuple[CardFile, ...], known: Known, *, card: str | None, taken_in: Collection[str]
) -> list[PlannedRoll]:
    """New rolls for a card's files; not for those in ``taken_in`` (escaped card paths), which are held or
    placed already, and still say where their companions belong."""
    cameras = _camera_of_each(files)
    nights = _night_of_each(files, cameras, known)
    rolls: dict[tuple[str, str], list[CardFile]] = {}
    for file in files:
        if escaped_original(file.path) not in taken_in:
            rolls.setdefault((nights[file.path], cameras[file.path]), []).append(file)
    return [_roll(night, camera, members, known, card) for (night, camera), members in sorted(rolls.items())]


def _roll(night: str, camera: str, members: list[CardFile], known: Known, card: str | None) -> PlannedRoll:
    roll_id = new_token(8)
    taken: set[str] = set()
    return PlannedRoll(
        id=roll_id,
        folder=f"{night}/{known.cameras[camera].name}-{roll_id}",
        camera=camera,
        night=night,
        site=known.site.id if known.site else None,
        card=card,
        files=tuple(
            Placement(
                source=escaped_original(file.path),
                path=stored_path(_below_dcim(file.path), taken),
                size=file.size,
                modified_ns=file.modified_ns,
                role=file.role,
                facts=file.facts,
                companion_of=escaped_original(file.master) if file.master else None,
            )
            for file in members
        ),
    )


def _below_dcim(path: str) -> str:
    head, _, rest = path.partition("/")
    return rest if head.upper() == "DCIM" and rest else path


def _camera_of_each(files: tuple[CardFile, ...]) -> dict[str, str]:
    """The body behind each file: by its own facts, its master's, its folder's, else the card's main one."""
    own = {
        file.path: camera_key(*body_of(file.facts))
        for file in files
        if file.role in _FRAME_ROLES and any(body_of(file.facts))
    }
    by_folder: dict[str, Counter[str]] = {}
    overall: Counter[str] = Counter()
    for file in files:
        if file.path in own:
            by_folder.setdefault(file.folder, Counter())[own[file.path]] += 1
            overall[own[file.path]] += 1
    nobody = camera_key("", "", "")

    def fallback(file: CardFile) -> str:
        near = by_folder.get(file.folder)
        if file.role in _FRAME_ROLES and (near is None or len(near) > 1):
            # A picture that does not say who took it is no one's, unless its whole folder is one body's.
            return nobody
        return _most(near or overall) or nobody

    found = {}
    for file in files:
        found[file.path] = own.get(file.path) or fallback(file)
    for file in files:
        if file.master is not None:
            found[file.path] = found[file.master]
    return found


def _most(counts: Counter[str]) -> str | None:
    return min(counts, key=lambda key: (-counts[key], key)) if counts else None


def _night_of_each(files: tuple[CardFile, ...], cameras: Mapping[str, str], known: Known) -> dict[str, str]:
    """The night of each file: of its own capture, else of the frame before it on the card."""
    clocks: dict[str, list[ClockCorrection]] = {}
    nights: dict[str, str] = {}
    for file in files:
        camera = cameras[file.path]
        if file.role in _FRAME_ROLES and file.master is None:
            if camera not in clocks:
                clocks[camera] = known.clocks(camera)
            modified = datetime.fromtimestamp(file.modified_ns / 1e9, UTC)
            time = capture_time(file.facts, modified, known.site, clocks[camera])
            nights[file.path] = time.night.isoformat()
    current: dict[str, str] = {}
    for file in files:
        if file.path in nights:
            current.setdefault(cameras[file.path], nights[file.path])
    for file in files:
        camera = cameras[file.path]
        if file.path in nights:
            current[camera] = nights[file.path]
        elif file.master is not None:
            nights[file.path] = nights[file.master]
        else:
            modified = datetime.fromtimestamp(file.modified_ns / 1e9, UTC)
            own = capture_time(None, modified, known.site).night.isoformat()
            nights[file.path] = current.get(camera, own)
    return nights


def _slug(name: str) -> str:
    """A name as it stands in folder names and addresses: lower-case letters, digits, single hyphens."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")
    return slug[:24].strip("-") or "camera"
