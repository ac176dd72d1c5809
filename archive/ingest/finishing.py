"""What lies of a roll, and where, once everything that the card gave was copied."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from archive.errors import shown
from archive.formats.incoming import Placement, PlannedRoll
from archive.ingest.errand import Errand, weaker
from archive.ingest.planning import Plan, RollPlan
from archive.ingest.stored_names import escaped_original
from archive.model.capture import RollFile
from archive.model.identity import FrameId
from archive.model.results import FileNote
from archive.store.ports import Grade


@dataclass(frozen=True, kw_only=True)
class Finished:
    """The files of a roll that lie proven, by path the ids of the volumes that hold them, and their grades.

    ``amiss`` are files of an earlier run that lie nowhere, not everywhere, or not with the same bytes, and
    that this card does not have; ``changed`` those that lie nowhere and in whose place it has another file.
    """

    roll: PlannedRoll
    files: list[RollFile]
    holders: Mapping[str, frozenset[str]]
    grades: Mapping[str, Grade]
    amiss: list[FileNote]
    changed: list[FileNote]


def finish(rolled: RollPlan, plan: Plan) -> Finished:
    """Judge every piece of a roll; digests that are known now are put down in the plan."""
    files: list[RollFile] = []
    holders: dict[str, frozenset[str]] = {}
    grades: dict[str, Grade] = {}
    amiss: list[FileNote] = []
    changed: list[FileNote] = []
    here = {escaped_original(file.path) for file in plan.card.files}
    live = frozenset(volume.id for volume in plan.live)
    masters: dict[str, FrameId] = {escaped_original(path): digest for path, digest in plan.digests.items()}
    for placement, errand in rolled.pieces:
        digest = errand.digest
        if errand.left:
            digest = _lying(errand, live)
            held = frozenset(v for v in live & errand.proven.keys() if errand.found[v] == digest)
            if not errand.found and placement.source in here:
                # Cameras rewrite their own index files whenever they see a card.
                text = "has changed on the card since an earlier run planned it; it was taken in as it is now"
                changed.append(FileNote(path=shown(placement.source), text=text))
            elif held != live:
                amiss.append(_amiss(placement, errand, plan, held, digest))
        elif errand.sound:
            assert digest is not None
            plan.digests[errand.name] = digest
            held = live
        else:
            continue
        if digest is None or not held:
            continue
        for volume in held:
            grades[volume] = weaker(grades.get(volume), errand.proven[volume])
        masters[placement.source] = digest
        holders[placement.path] = held
        files.append(_roll_file(placement, digest))
    wanted = {placement.path: placement.companion_of for placement, _ in rolled.pieces}
    paired = [
        replace(file, companion_of=masters.get(master) if (master := wanted[file.path]) else None)
        for file in files
    ]
    return Finished(
        roll=rolled.roll, files=paired, holders=holders, grades=grades, amiss=amiss, changed=changed
    )


def _lying(errand: Errand, live: frozenset[str]) -> FrameId | None:
    """The digest that a file of an earlier run has: as it was put down, else as all volumes say."""
    if errand.digest is not None:
        return errand.digest
    found = {digest for volume, digest in errand.found.items() if volume in live}
    return found.pop() if len(found) == 1 else None


def _amiss(
    placement: Placement, errand: Errand, plan: Plan, held: frozenset[str], digest: FrameId | None
) -> FileNote:
    def named(ids: frozenset[str]) -> str:
        return " and ".join(shown(volume.name) for volume in plan.live if volume.id in ids)

    there = frozenset(errand.found) & {volume.id for volume in plan.live}
    if digest is None and there:
        text = f"is not the same on {named(there)}, and no card here has it to tell which is right"
    elif there - held:
        text = f"is no more on {named(there - held)} what was copied there, and no card here has it"
    elif held:
        text = f"lies on {named(held)} alone, and no card here has it"
    else:
        text = "was planned, was not copied, and no card here has it any more"
    return FileNote(path=shown(placement.source), text=text)


def _roll_file(placement: Placement, digest: FrameId) -> RollFile:
    return RollFile(
        path=placement.path,
        size=placement.size,
        digest=digest,
        role=placement.role,
        modified=datetime.fromtimestamp(placement.modified_ns / 1e9, UTC).isoformat(timespec="milliseconds"),
        original=placement.source if placement.source != placement.path else None,
        facts=placement.facts,
        companion_of=None,
    )
