"""What one card's ingest will do, decided and recorded before the first byte is copied."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from archive.errors import ArchiveError, shown
from archive.formats.incoming import Incoming, Placement, PlannedRoll
from archive.ingest.card import Card, CardFile, read_card, with_pairs
from archive.ingest.completing import Completion, already_held, pending
from archive.ingest.errand import Errand
from archive.ingest.matching import Given, match
from archive.ingest.placing import Known, cameras_on, place
from archive.ingest.room import check_limits, check_room
from archive.ingest.setting import Outcome, Setting
from archive.ingest.stored_names import escaped_original
from archive.ingest.unfinished import Unfinished, keep_record, unfinished_on
from archive.model.capture import Camera, Role
from archive.model.entry import Change, Draft
from archive.model.identity import FrameId, new_token
from archive.model.results import FileNote
from archive.store.masters import roll_path
from archive.store.volumes import Volume


@dataclass(frozen=True, kw_only=True)
class RollPlan:
    """A roll to bring: each placement with its errand."""

    roll: PlannedRoll
    pieces: tuple[tuple[Placement, Errand], ...]


@dataclass(kw_only=True, eq=False)
class Plan:
    """One card, and everything that is to be done with it.

    ``rolls`` are by the id of their record, ``closing`` those that end here even if files are missing.
    ``volumes`` are written; ``failures`` says by id which of them failed in the copying, and why; ``lost``
    which failed for every card.
    """

    card: Card
    outcome: Outcome
    digests: dict[str, FrameId]
    unfinished: list[Unfinished]
    rolls: dict[str, list[RollPlan]]
    closing: frozenset[str]
    completions: list[Completion]
    volumes: list[Volume]
    leave: Callable[[Volume, ArchiveError], None]
    lost: Mapping[str, ArchiveError]
    failures: dict[str, ArchiveError] = field(default_factory=dict)

    @cached_property
    def errands(self) -> list[Errand]:
        """Everything to bring, in the order of the card."""
        ours = [e for rolls in self.rolls.values() for roll in rolls for _, e in roll.pieces]
        return ours + [completion.errand for completion in self.completions]

    @property
    def coming(self) -> list[Errand]:
        """Of these, what may have to be copied."""
        return [errand for errand in self.errands if not errand.left]

    def fail(self, volume: Volume, error: ArchiveError) -> None:
        """A volume is written no more.

        Raises
        ------
        ArchiveError : that of the first failure, when none is left.
        """
        self.failures.setdefault(volume.id, error)
        if not self.live:
            raise next(iter(self.failures.values()))
        self.leave(volume, self.failures[volume.id])

    @property
    def live(self) -> list[Volume]:
        return [v for v in self.volumes if v.id not in self.failures and v.id not in self.lost]


def make_plan(card: Card, setting: Setting, beside: Sequence[Plan] = (), *, close_all: bool = False) -> Plan:
    """Decide where everything on a card goes, and record it on every volume.

    Parameters
    ----------
    beside : the plans of cards that are copied at the same time.
    close_all : unfinished ingests end here with what lies on the volumes, whatever this card has.

    Raises
    ------
    UsageError : for a camera name that cannot be given.
    ArchiveError : when a volume has no room, cannot hold a file, or cannot be written.
    """
    files = with_pairs(card.files)
    outcome = _examined(card, files)
    volumes = list(setting.volumes)
    unfinished = [
        each
        for each in unfinished_on(volumes, lambda name, why: outcome.waiting.append(_unreadable(name, why)))
        if each.record.id not in setting.in_flight
    ]
    matches = match(card, files, unfinished, setting, volumes)
    placed = matches.placed
    cameras = dict(setting.cameras) | cameras_on(files, setting.cameras, setting.camera_name)
    doubtful = _doubtful(unfinished, volumes)
    digests, completions = already_held(card, files, placed.keys(), doubtful, setting, outcome)
    completions += pending(unfinished, setting, volumes, completions, outcome)
    known = Known(cameras=cameras, clocks=setting.clocks, site=setting.site)
    fresh = place(files, known, card=setting.card, taken_in={*placed, *map(escaped_original, digests)})
    held = {escaped_original(path) for path in digests}
    given = dict(matches.given)
    closing = {each.record.id for each in unfinished} if close_all else set(matches.at_hand)
    if fresh:
        by_source = {escaped_original(file.path): Given(file=file) for file in files}
        given |= {(roll.id, p.source): by_source[p.source] for roll in fresh for p in roll.files}
        record = Incoming(
            id=new_token(),
            # Stated as the begin of the whole ingest, by every entry and hash list of it.
            started=setting.stamp(),
            person=setting.person,
            rolls=tuple(fresh),
            volumes=tuple(volume.id for volume in volumes),
        )
        unfinished.append(Unfinished(record=record, holders=frozenset()))
        closing.add(record.id)
    plan = Plan(
        card=card,
        outcome=outcome,
        digests=digests,
        unfinished=unfinished,
        rolls={
            each.record.id: [
                _roll_plan(roll, each, card, given, held, volumes)
                for roll in each.record.rolls
                if roll.id not in setting.known_rolls
            ]
            for each in unfinished
        },
        closing=frozenset(closing),
        completions=completions,
        volumes=volumes,
        leave=setting.leave,
        lost=setting.lost,
    )
    check_room(plan.coming, volumes, [e for other in beside for e in other.coming], plan.fail)
    outcome.remarks += check_limits(plan.coming, plan.live, plan.fail)
    new = [c for key, c in cameras.items() if key not in setting.cameras and _used(key, fresh)]
    if new:
        setting.state(_cameras_draft(new))
    for each in unfinished:
        if plan.rolls[each.record.id]:
            keep_record(each.record, [v for v in plan.live if v.id not in each.holders], plan.fail)
    return plan


def read_source(source: Path, setting: Setting) -> Card:
    """A card with the facts of its files, told as progress."""
    return read_card(source, lambda done, total: setting.progress("Reading headers", done, total))


def _examined(card: Card, files: Sequence[CardFile]) -> Outcome:
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
    return outcome


def _roll_plan(
    roll: PlannedRoll,
    each: Unfinished,
    card: Card,
    given: Mapping[tuple[str, str], Given],
    held: Collection[str],
    volumes: Sequence[Volume],
) -> RollPlan:
    """The files of a roll to bring; not those that another roll has taken in meanwhile."""
    pieces = []
    for placement in roll.files:
        found = given.get((roll.id, placement.source))
        if found is not None and placement.source in held:
            continue
        target = roll_path(roll.folder, placement.path)
        errand = Errand(
            source=card.source / found.file.path if found else None,
            name=found.file.path if found else placement.source,
            target=target,
            size=placement.size,
            modified_ns=placement.modified_ns,
            wanted=frozenset(volume.id for volume in volumes),
            fresh=not each.holders,
            left=found is None,
            ingest=each.record.id,
            digest=found.digest if found else each.digests.get(target),
        )
        pieces.append((placement, errand))
    return RollPlan(roll=roll, pieces=tuple(pieces))


def _unreadable(name: str, why: str) -> str:
    return (
        f"the record {name} of an interrupted ingest cannot be read ({why.rstrip('.')}); it was left as it "
        "is. Take its card in again: what is not listed is copied anew. Then the record may be removed"
    )


def _doubtful(unfinished: Sequence[Unfinished], volumes: Sequence[Volume]) -> set[str]:
    """Sources placed by an ingest that some volume at hand knows nothing of.

    That one may have taken the same card in by itself while the others were away.
    """
    here = {volume.id for volume in volumes}
    return {
        placement.source
        for each in unfinished
        if here - each.holders
        for roll in each.record.rolls
        for placement in roll.files
    }


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
