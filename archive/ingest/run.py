"""One card taken in: placed, copied, listed, stated. A rerun completes whatever was interrupted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from archive.errors import ArchiveError, shown
from archive.formats import incoming as incoming_format
from archive.formats.incoming import Incoming, PlannedRoll
from archive.ingest.card import Card, CardFile, read_card, with_pairs
from archive.ingest.carrying import INCOMING, carry_out, stamp
from archive.ingest.placing import Known, cameras_on, place
from archive.ingest.setting import Outcome, Setting
from archive.ingest.stored_names import escaped_original
from archive.ingest.transfer import CardReadError, read_digest
from archive.model.capture import Camera, Role
from archive.model.entry import Change, Draft
from archive.model.identity import FrameId, new_token
from archive.model.results import FileNote
from archive.store.durable import read_bytes, write_new
from archive.store.ports import Disk
from archive.store.volumes import Volume


def ingest_card(source: Path, setting: Setting) -> Outcome:
    """Take everything off a card that the archive does not hold yet.

    Order of durability: masters, hash list, journal; the caller brings the catalogue up afterwards.

    Raises
    ------
    UsageError : for a source that is no folder, or a camera name that cannot be given.
    ArchiveError : when a volume has no room or cannot be written.
    """
    card = read_card(source, lambda done, total: setting.progress("Reading headers", done, total))
    files = with_pairs(card.files)
    outcome = Outcome(ignored=list(card.ignored), failed=list(card.failed))
    outcome.remarks = [
        FileNote(path=shown(file.path), text=fault)
        for file in files
        # Every movie's clock is in doubt; saying so of each would drown what matters.
        if file.facts and file.role is not Role.CLIP
        for fault in file.facts.faults
        if fault != file.damage
    ]
    outcome.damaged = [FileNote(path=shown(f.path), text=f.damage) for f in files if f.damage]
    disk = setting.volumes[0].disk
    unfinished = read_unfinished(disk)
    placed = _placed_before(files, unfinished, setting.known_rolls)
    cameras = dict(setting.cameras) | cameras_on(files, setting.cameras, setting.camera_name)
    digests = _already_held(card, files, placed, setting, outcome)
    wanted = tuple(file for file in files if file.path not in digests)
    known = Known(cameras=cameras, clocks=setting.clocks, site=setting.site)
    taken_in = {*placed, *map(escaped_original, digests)}
    rolls = place(files, known, card=setting.card, taken_in=taken_in)
    if rolls:
        _check_room(wanted, placed, setting.volumes)
    fresh = [c for key, c in cameras.items() if key not in setting.cameras and _used(key, rolls)]
    if fresh:
        setting.state(_cameras_draft(fresh))
    if rolls:
        record = Incoming(id=new_token(), started=stamp(), person=setting.person, rolls=tuple(rolls))
        write_new(disk, INCOMING, f"{record.id}.json", incoming_format.encode(record), by="ingest")
        unfinished = {**unfinished, record.id: record}
    by_source = {escaped_original(file.path): file for file in files}
    for record in unfinished.values():
        carry_out(record, card, by_source, digests, setting, outcome)
    return outcome


def read_unfinished(disk: Disk) -> dict[str, Incoming]:
    """The ingests that a volume says are unfinished, by id."""
    found = {}
    for name in disk.files(INCOMING):
        if name.endswith(".json"):
            record = incoming_format.decode(read_bytes(disk, f"{INCOMING}/{name}"), name)
            found[record.id] = record
    return dict(sorted(found.items(), key=lambda item: (item[1].started, item[0])))


def _placed_before(
    files: Sequence[CardFile], unfinished: Mapping[str, Incoming], known_rolls: set[str]
) -> dict[str, PlannedRoll]:
    """Files of this card that an unfinished ingest has placed, by card path; not those it stated already."""
    here = {(escaped_original(file.path), file.size, file.modified_ns) for file in files}
    return {
        placement.source: roll
        for record in unfinished.values()
        for roll in record.rolls
        if roll.id not in known_rolls
        for placement in roll.files
        if (placement.source, placement.size, placement.modified_ns) in here
    }


def _already_held(
    card: Card,
    files: Sequence[CardFile],
    placed: Mapping[str, PlannedRoll],
    setting: Setting,
    outcome: Outcome,
) -> dict[str, FrameId]:
    """Digests of the files whose bytes a volume holds; only files of a size that is held are read."""
    candidates = [f for f in files if f.size in setting.held and escaped_original(f.path) not in placed]
    total = sum(file.size for file in candidates)
    done = 0
    digests: dict[str, FrameId] = {}
    for file in candidates:
        try:
            digest = read_digest(card.source / file.path)
        except CardReadError:
            # The copying meets the same fault and reports it.
            continue
        done += file.size
        setting.progress("Comparing with what is held", done, total)
        if digest in setting.held[file.size]:
            digests[file.path] = digest
            outcome.held.append(FileNote(path=shown(file.path), text=digest))
    return digests


def _check_room(
    files: Sequence[CardFile], placed: Mapping[str, PlannedRoll], volumes: Sequence[Volume]
) -> None:
    needed = sum(file.size for file in files if escaped_original(file.path) not in placed)
    needed += needed // 100 + (8 << 20)
    short = [volume for volume in volumes if volume.disk.free() < needed]
    if short:
        names = ", ".join(
            f"{shown(volume.name)} has {volume.disk.free() / 1e9:.1f} GB free" for volume in short
        )
        raise ArchiveError(
            f"This card needs {needed / 1e9:.1f} GB, but {names}.",
            hint="Nothing was copied and the card was not changed. Make room, or name another volume.",
        )


def _cameras_draft(cameras: Sequence[Camera]) -> Draft:
    return Draft(
        kind="camera",
        changes=tuple(
            Change(
                subjects=(camera.id,),
                layer="camera",
                value={
                    "name": camera.name,
                    "make": camera.make,
                    "model": camera.model,
                    "serial": camera.serial,
                },
            )
            for camera in cameras
        ),
    )


def _used(camera: str, rolls: Sequence[PlannedRoll]) -> bool:
    return any(roll.camera == camera for roll in rolls)
