"""What follows from the statements: each frame's time and night, and the sequences of each camera."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, delete, select
from sqlalchemy.orm import Session, aliased

from archive.catalogue.apply import FRAME_LAYERS, insert_rows
from archive.catalogue.registers import clocks_of, site_of
from archive.catalogue.rows import FileRow, FrameRow, RollRow, SequenceRow, StatementRow
from archive.model.capture import CaptureFacts, Role
from archive.model.place import Site
from archive.nights.capture_time import CaptureTime, TimeSource, capture_time
from archive.nights.sequences import Run, Shot, find_sequences


@dataclass(frozen=True, kw_only=True)
class Unnumbered:
    """A sequence that was found and has no number yet; ``first`` is the frame its number will hang on."""

    camera: str
    night: str
    number: int
    first: str


@dataclass(frozen=True, kw_only=True)
class _Master:
    row: FileRow
    camera: str
    time: CaptureTime
    facts: CaptureFacts


def derive(session: Session, cameras: Iterable[str]) -> list[Unnumbered]:
    """Write the frames and sequences of these cameras anew; answers sequences that need a number."""
    unnumbered: list[Unnumbered] = []
    cameras = sorted(cameras)
    for camera in cameras:
        # All first: a frame may pass from one camera to another.
        session.execute(delete(SequenceRow).where(SequenceRow.camera == camera))
        session.execute(delete(FrameRow).where(FrameRow.camera == camera))
    for camera in cameras:
        unnumbered += _derive_camera(session, camera)
    return unnumbered


def _derive_camera(session: Session, camera: str) -> list[Unnumbered]:
    told = _frame_statements(session, camera)
    masters = _masters(session, camera, told)
    breaks = frozenset(f for (f, layer), s in told.items() if layer == "sequence-break" and s["value"])
    joins = frozenset(f for (f, layer), s in told.items() if layer == "sequence-join" and s["value"])
    shots = [_shot(master) for master in masters.values() if master.time.source is not TimeSource.FILE]
    shots.sort(key=lambda shot: (shot.start, shot.name, shot.frame))
    runs = find_sequences(shots, breaks=breaks, joins=joins)
    claims = _claims(told, camera)
    places: dict[str, tuple[str, int]] = {}
    unnumbered = []
    taken_numbers = {(night, number) for night, number in claims.values()}
    for run in runs:
        address = min((claims[f] for f in run.frames if f in claims), default=None)
        first = masters[run.frames[0]]
        if address is None:
            night = first.time.night.isoformat()
            number = 1 + max((n for held, n in taken_numbers if held == night), default=0)
            taken_numbers.add((night, number))
            unnumbered.append(Unnumbered(camera=camera, night=night, number=number, first=run.frames[0]))
            continue
        key = f"{address[0]}/{camera}/{address[1]}"
        places |= {frame: (key, position) for position, frame in enumerate(run.frames, 1)}
        insert_rows(session, SequenceRow, [_sequence(key, address, camera, run, masters)])
    insert_rows(session, FrameRow, [_frame(m, places.get(m.row.digest)) for m in masters.values()])
    return unnumbered


def _frame_statements(session: Session, camera: str) -> dict[tuple[str, str], dict[str, Any]]:
    query = (
        select(StatementRow)
        .join(FileRow, FileRow.digest == StatementRow.subject)
        .join(RollRow, RollRow.id == FileRow.roll)
        .where(RollRow.camera == camera, StatementRow.layer.in_(FRAME_LAYERS))
    )
    return {
        (row.subject, row.layer): {"order": (row.counter, row.entry), "value": json.loads(row.value)}
        for row in session.scalars(query)
    }


def _masters(
    session: Session, camera: str, told: dict[tuple[str, str], dict[str, Any]]
) -> dict[str, _Master]:
    """The camera's masters by frame id; of equal bytes the first taken in."""
    query = (
        select(FileRow, RollRow.site)
        .join(RollRow, RollRow.id == FileRow.roll)
        .where(RollRow.camera == camera, *_is_master(FileRow))
        .order_by(RollRow.counter, RollRow.entry, RollRow.id, FileRow.path)
    )
    clocks = clocks_of(session, camera)
    elsewhere = _held_before(session, camera)
    sites: dict[str | None, Site | None] = {None: None}
    found: dict[str, _Master] = {}
    for row, site_id in session.execute(query):
        if row.digest in found or row.digest in elsewhere:
            continue
        if site_id is not None and site_id not in sites:
            sites[site_id] = site_of(session, site_id)
        read = json.loads(row.facts) if row.facts else {}
        corrected = told.get((row.digest, "facts"))
        facts = CaptureFacts.from_json(read | (corrected["value"] if corrected else {}))
        modified = datetime.fromisoformat(row.modified)
        time = capture_time(facts, modified, sites[site_id], clocks)
        found[row.digest] = _Master(row=row, camera=camera, time=time, facts=facts)
    return found


def _held_before(session: Session, camera: str) -> set[str]:
    """Frames whose bytes came in first with another camera's roll: they are that camera's."""
    mine, theirs = aliased(FileRow), aliased(FileRow)
    my_roll, their_roll = aliased(RollRow), aliased(RollRow)
    columns = (mine.digest, my_roll.counter, my_roll.entry, my_roll.id)
    query = (
        select(*columns, their_roll.counter, their_roll.entry, their_roll.id)
        .join(my_roll, my_roll.id == mine.roll)
        .join(theirs, theirs.digest == mine.digest)
        .join(their_roll, their_roll.id == theirs.roll)
        .where(my_roll.camera == camera, their_roll.camera != camera)
        .where(*_is_master(mine), *_is_master(theirs))
    )
    first: dict[str, tuple[bool, tuple[int, str, str]]] = {}
    for digest, counter, entry, roll, its_counter, its_entry, its_roll in session.execute(query):
        ours, other = (counter, entry, roll), (its_counter, its_entry, its_roll)
        for is_mine, order in ((True, ours), (False, other)):
            if digest not in first or order < first[digest][1]:
                first[digest] = (is_mine, order)
    return {digest for digest, (is_mine, _) in first.items() if not is_mine}


def _is_master(file: type[FileRow]) -> tuple[ColumnElement[bool], ...]:
    return file.role.in_([str(Role.RAW), str(Role.PICTURE)]), file.companion_of.is_(None)


def _shot(master: _Master) -> Shot:
    facts = master.facts
    return Shot(
        frame=master.row.digest,
        start=master.time.moment,
        exposure_s=facts.exposure_s,
        iso=facts.iso,
        f_number=facts.f_number,
        focal_mm=facts.focal_mm,
        name=master.row.path,
    )


def _claims(told: dict[tuple[str, str], dict[str, Any]], camera: str) -> dict[str, tuple[str, int]]:
    """The number that hangs on each anchoring frame; the first stated claim to a number has it."""
    stated = sorted(
        (statement["order"], frame, statement["value"])
        for (frame, layer), statement in told.items()
        if layer == "sequence-number" and statement["value"]["camera"] == camera
    )
    claims: dict[str, tuple[str, int]] = {}
    for _, frame, value in stated:
        address = (str(value["night"]), int(value["number"]))
        if address not in claims.values():
            claims[frame] = address
    return claims


def _sequence(
    key: str, address: tuple[str, int], camera: str, run: Run, masters: dict[str, _Master]
) -> dict[str, Any]:
    return {
        "key": key,
        "night": address[0],
        "camera": camera,
        "number": address[1],
        "first": masters[run.frames[0]].time.moment,
        "last": masters[run.frames[-1]].time.moment,
        "frames": len(run.frames),
        "missed": run.missed,
        "cadence_s": run.cadence_s,
    }


def _frame(master: _Master, place: tuple[str, int] | None) -> dict[str, Any]:
    row = master.row
    return {
        "id": row.digest,
        "camera": master.camera,
        "roll": row.roll,
        "path": row.path,
        "name": row.path.rpartition("/")[2],
        "role": row.role,
        "taken": master.time.moment,
        "time_source": str(master.time.source),
        "night": master.time.night.isoformat(),
        "sequence": place[0] if place else None,
        "position": place[1] if place else None,
        "facts": json.dumps(master.facts.to_json(), ensure_ascii=False, sort_keys=True),
    }
