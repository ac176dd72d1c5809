"""Raw and JPEG of one exposure that came in apart, recognised: by body, DCF name and capture time.

A camera with two card slots writes the same object to both. Whichever card comes first, its file may be rated
and developed; the pairing hands all of that to the frame when the better master is there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from archive.catalogue.index import Catalogue
from archive.catalogue.pairs import frames_named
from archive.model.capture import CaptureFacts, Frame, Role, Roll
from archive.model.entry import PAIRING, Change, Draft
from archive.model.roll import roll_from_value

_DCF = re.compile(r"[0-9A-Z_]{4}(?!0000)[0-9]{4}")
_TO_THE_SECOND = 19


@dataclass(frozen=True, kw_only=True)
class _Shot:
    """One picture file that is a frame now, or will be."""

    id: str
    camera: str
    night: str
    name: str
    role: Role
    facts: CaptureFacts

    @property
    def stem(self) -> str:
        return self.name.partition(".")[0].upper()

    @property
    def rank(self) -> int:
        """What may be the master of what: raw before other pictures, those before JPEG."""
        if self.role is Role.RAW:
            return 0
        return 2 if self.name.upper().endswith((".JPG", ".JPEG", ".JPE")) else 1


def pairings(catalogue: Catalogue, ingest: Draft) -> list[Draft]:
    """What an ingest that is about to be stated pairs, one entry for each night; none if it pairs nothing.

    Only what is beyond doubt is paired: one body with a serial number, one DCF name, one capture time, one
    file of each kind. What a person has said about a pairing stands.
    """
    rolls = [
        roll_from_value(change.subjects[0].removeprefix("roll:"), change.value)
        for change in ingest.changes
        if change.layer == "ingest"
    ]
    known = catalogue.cameras()
    fresh = [shot for roll in rolls if _has_serial(known, roll.camera) for shot in _shots(roll)]
    return _stated(catalogue, fresh)


def pairings_of(catalogue: Catalogue, frames: Iterable[Frame]) -> list[Draft]:
    """What frames that are in the catalogue already pair with each other and others of their cameras."""
    known = catalogue.cameras()
    return _stated(catalogue, [_shot(frame) for frame in frames if _has_serial(known, frame.camera)])


def _stated(catalogue: Catalogue, fresh: Sequence[_Shot]) -> list[Draft]:
    if not fresh:
        return []
    here = {shot.id: shot for shot in fresh}
    for camera in sorted({shot.camera for shot in fresh}):
        stems = {shot.stem for shot in fresh if shot.camera == camera}
        for frame in frames_named(catalogue, camera, stems | {stem.lower() for stem in stems}):
            here.setdefault(frame.id, _shot(frame))
    found = dict(_pairs(here.values()))
    if not found:
        return []
    stated = {subject: value for (subject, _), value in catalogue.layer(PAIRING).items()}
    # A companion of what is a companion itself from now on is one of the new frame too.
    found |= {
        below: found[value["frame"]] for below, value in stated.items() if value and value["frame"] in found
    }
    nights: dict[str, list[Change]] = {}
    for companion, master in sorted(found.items()):
        before = stated.get(companion, {})
        if before is None or before.get("frame") == master:
            continue
        night = here[companion].night if companion in here else here[master].night
        change = Change(subjects=(companion,), layer=PAIRING, value={"frame": master})
        nights.setdefault(night, []).append(change)
    return [Draft(kind=PAIRING, changes=tuple(changes)) for _, changes in sorted(nights.items())]


def _has_serial(known: Mapping[str, object], camera: str) -> bool:
    return bool(getattr(known.get(camera), "serial", ""))


def _shot(frame: Frame) -> _Shot:
    return _Shot(
        id=frame.id,
        camera=frame.camera,
        night=frame.night,
        name=frame.name,
        role=frame.role,
        facts=frame.facts,
    )


def _shots(roll: Roll) -> Iterable[_Shot]:
    for file in roll.files:
        if file.role in (Role.RAW, Role.PICTURE) and file.companion_of is None and file.facts is not None:
            yield _Shot(
                id=file.digest,
                camera=roll.camera,
                night=roll.night,
                name=file.path.rpartition("/")[2],
                role=file.role,
                facts=file.facts,
            )


def _pairs(shots: Iterable[_Shot]) -> Iterable[tuple[str, str]]:
    """(companion, frame) for every exposure that is there in more than one kind, once in each."""
    groups: dict[tuple[str, str, str], list[_Shot]] = {}
    for shot in shots:
        if shot.facts.taken and _DCF.fullmatch(shot.stem):
            place = (shot.camera, shot.stem, shot.facts.taken[:_TO_THE_SECOND])
            groups.setdefault(place, []).append(shot)
    for members in groups.values():
        ranks = [shot.rank for shot in members]
        best = min(members, key=lambda shot: shot.rank)
        if ranks.count(best.rank) > 1:
            continue
        for shot in members:
            if shot.rank > best.rank and ranks.count(shot.rank) == 1 and _one_exposure(shot, best):
                yield shot.id, best.id


def _one_exposure(one: _Shot, other: _Shot) -> bool:
    """Whether two headers can be of one exposure, in what both of them say."""

    def fraction(taken: str | None) -> str:
        return (taken or "")[_TO_THE_SECOND:].strip(".").rstrip("0")

    facts: Sequence[tuple[object, object]] = (
        (one.facts.exposure_s, other.facts.exposure_s),
        (one.facts.iso, other.facts.iso),
        (one.facts.offset, other.facts.offset),
    )
    fractions = (fraction(one.facts.taken), fraction(other.facts.taken))
    if all(fractions) and fractions[0] != fractions[1]:
        return False
    return all(_close(mine, its) for mine, its in facts if mine is not None and its is not None)


def _close(one: object, other: object) -> bool:
    """Equal; exposure times are written as fractions, and rounded in different ways."""
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) <= 0.02 * max(abs(one), abs(other))
    return one == other
