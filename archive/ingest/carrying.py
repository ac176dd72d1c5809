"""Carrying out a plan: copy, list, state; each durable before the next."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from archive.errors import ArchiveError, shown
from archive.formats.hashlist import HashedFile
from archive.formats.incoming import Incoming
from archive.ingest.accounting import account
from archive.ingest.card import Card
from archive.ingest.completing import Completion, by_roll
from archive.ingest.errand import Errand, weaker, weakest
from archive.ingest.finishing import Finished, finish
from archive.ingest.planning import Plan
from archive.ingest.setting import Outcome, Setting
from archive.ingest.transfer import bring
from archive.ingest.troubles import cannot_write
from archive.ingest.unfinished import forget_proven, forget_record, settle
from archive.model.capture import Role, Roll, RollFile
from archive.model.entry import Change, Draft
from archive.model.identity import new_token
from archive.model.results import FileNote, HistoryCheck, RollResult
from archive.model.roll import VolumeProof, roll_value
from archive.store.masters import record_generation
from archive.store.volumes import MASTERS, Volume


def copy(plan: Plan, setting: Setting, progress: Callable[[int], None]) -> None:
    """Bring everything to the volumes; what came of it stands in the plan's errands and failures.

    Nothing but these and the volumes is touched: several plans may be copied at the same time.
    """
    for volume, error in bring(plan.errands, plan.live, engine=setting.engine, progress=progress).items():
        plan.failures.setdefault(volume, error)


def conclude(plan: Plan, setting: Setting) -> Outcome:
    """List and state what was brought, and forget the records of what is complete.

    Raises
    ------
    ArchiveError : when every volume has failed.
    """
    outcome = plan.outcome
    for volume in plan.volumes:
        if volume.id in plan.failures:
            # Before anything is listed or stated: no more may be written there.
            plan.fail(volume, plan.failures[volume.id])
    _count(plan)
    account(plan)
    _list_completions(plan, setting)
    for each in plan.unfinished:
        record = each.record
        finished = [finish(rolled, plan) for rolled in plan.rolls[record.id]]
        amiss = [note for one in finished for note in one.amiss]
        changed = [note for one in finished for note in one.changed]
        if (amiss or changed) and record.id not in plan.closing:
            outcome.waiting.append(_waits(record, amiss + changed))
            continue
        outcome.failed += amiss
        outcome.remarks += changed
        # A roll of which nothing lies anywhere has nothing to list or to state.
        whole = [one for one in finished if one.files]
        _list(whole, record, plan, setting)
        if any(roll.id in setting.known_rolls for roll in record.rolls):
            settle(record, plan.live, plan.fail)
        _state(whole, record, plan, setting)
        forget_record(record, plan.live, plan.fail)
    forget_proven(plan.live, plan.fail)
    if outcome.failed and not outcome.copied and not outcome.held:
        # Nothing came of this card: that, too, is to be on record.
        setting.state(Draft(kind="ingest", changes=(_card_report(new_token(), plan.card, setting, outcome),)))
    why = {**plan.lost, **plan.failures}
    for volume in plan.volumes:
        if volume.id in why:
            wanted = [e for e in plan.coming if volume.id in e.wanted]
            verified = sum(volume.id in e.proven for e in wanted)
            outcome.left_out(volume, why[volume.id], verified, len(wanted))
    return outcome


def _count(plan: Plan) -> None:
    outcome = plan.outcome
    for errand in plan.coming:
        if errand.fault is not None:
            outcome.failed.append(FileNote(path=shown(errand.name), text=errand.fault))
        elif errand.clash:
            names = ", ".join(shown(name) for name in sorted(set(errand.clash)))
            outcome.failed.append(
                FileNote(
                    path=shown(errand.name),
                    text=f"{shown(errand.target)} on {names} does not match the card; neither was changed, "
                    "and the next run keeps the card's beside it",
                )
            )
    for rolls in plan.rolls.values():
        for _, errand in (piece for rolled in rolls for piece in rolled.pieces):
            if errand.left or not errand.sound:
                continue
            if errand.copied:
                outcome.copied += 1
                outcome.copied_size += errand.size
            else:
                # An earlier run brought it, and was stopped before it could list it.
                outcome.held.append(FileNote(path=shown(errand.name), text=errand.digest or ""))


def _waits(record: Incoming, amiss: Sequence[FileNote]) -> str:
    first = f"{amiss[0].path} {amiss[0].text}"
    more = f", and {len(amiss) - 1} more files" if len(amiss) > 1 else ""
    return (
        f"an ingest begun {record.started} waits for its card: {first}{more}. Take that card in again, or, "
        "if it is gone, run `noctuary ingest --close-unfinished`"
    )


def _list(whole: Sequence[Finished], record: Incoming, plan: Plan, setting: Setting) -> None:
    """A generation of the hash list of each roll, on every volume that still lives."""
    started = datetime.fromisoformat(record.started)
    for one in whole:
        for volume in plan.live:
            hashed = [_hashed(file, started) for file in one.files if volume.id in one.holders[file.path]]
            _record(volume, one.roll.folder, hashed, started, record.person, plan, setting)


def _list_completions(plan: Plan, setting: Setting) -> None:
    """Hash lists of what volumes were brought that others held already."""
    volumes = {volume.id: volume for volume in plan.live}
    now = datetime.now(UTC).replace(microsecond=0)
    for (volume_id, folder), several in by_roll(plan.completions).items():
        proven = [each for each in several if volume_id in each.errand.proven and each.errand.sound]
        if volume_id not in volumes or not proven:
            continue
        volume = volumes[volume_id]
        hashed = [_completed(each, now) for each in proven]
        if _record(volume, folder, hashed, now, setting.person, plan, setting):
            plan.outcome.completed.append(
                FileNote(path=shown(volume.name), text=f"{len(proven)} files of {MASTERS}/{folder}")
            )
            grade = weakest(each.errand.proven[volume_id] for each in proven)
            if grade is not None:
                plan.outcome.grades[volume_id] = weaker(plan.outcome.grades.get(volume_id), grade)
    for each in plan.unfinished:
        holders = [v for v in plan.live if v.id in each.holders]
        if not plan.rolls[each.record.id]:
            settle(each.record, holders, plan.fail)
            forget_record(each.record, holders, plan.fail)


def _record(
    volume: Volume,
    folder: str,
    hashed: Sequence[HashedFile],
    created: datetime,
    person: str,
    plan: Plan,
    setting: Setting,
) -> bool:
    try:
        record_generation(
            volume.disk,
            folder,
            hashed,
            created=created,
            tool_version=setting.tool_version,
            process="transfer",
            author=person or None,
        )
        # Also of a list that a run wrote which was stopped before it could sync its name.
        volume.disk.sync_folder(f"{MASTERS}/{folder}/ascmhl")
    except OSError as error:
        plan.fail(volume, cannot_write(volume, error))
    except ArchiveError as error:
        plan.fail(volume, error)
    return volume.id not in plan.failures


def _state(whole: Sequence[Finished], record: Incoming, plan: Plan, setting: Setting) -> None:
    """One entry for each night."""
    outcome = plan.outcome
    live = {volume.id for volume in plan.live}
    by_night: dict[str, list[Change]] = {}
    for one in whole:
        roll = one.roll
        made = Roll(
            id=roll.id,
            folder=roll.folder,
            camera=roll.camera,
            night=roll.night,
            site=roll.site,
            card=roll.card,
            files=tuple(one.files),
        )
        grades = {volume: grade for volume, grade in sorted(one.grades.items()) if volume in live}
        proofs = tuple(VolumeProof(volume=v, grade=str(g)) for v, g in grades.items())
        value = roll_value(made, started=record.started, ended=setting.stamp(), volumes=proofs)
        change = Change(subjects=(f"roll:{roll.id}",), layer="ingest", value=value)
        by_night.setdefault(roll.night, []).append(change)
        for volume, grade in grades.items():
            outcome.grades[volume] = weaker(outcome.grades.get(volume), grade)
        outcome.rolls.append(_result(made))
    reports = []
    if record.id in plan.closing:
        # What else is on the card says nothing of an ingest that was of another one.
        reports.append(_card_report(record.id, plan.card, setting, outcome))
    for position, (_, changes) in enumerate(sorted(by_night.items())):
        setting.state(Draft(kind="ingest", changes=(*changes, *(reports if position == 0 else []))))


def _card_report(ingest: str, card: Card, setting: Setting, outcome: Outcome) -> Change:
    def notes(items: Sequence[FileNote]) -> list[dict[str, str]]:
        return [{"path": note.path, "text": note.text} for note in items]

    return Change(
        subjects=(f"ingest:{ingest}",),
        layer="card",
        value={
            "source": shown(card.source.name),
            "card": setting.card,
            "held": len(outcome.held),
            "ignored": notes(outcome.ignored),
            "failed": notes(outcome.failed),
            **({"history": [_history(check) for check in outcome.histories]} if outcome.histories else {}),
        },
    )


def _history(check: HistoryCheck) -> dict[str, Any]:
    return {
        "folder": check.folder,
        "generations": check.generations,
        "verified": check.verified,
        "unlisted": check.unlisted,
        "faults": [{"path": note.path, "text": note.text} for note in check.faults],
    }


def _hashed(file: RollFile, started: datetime) -> HashedFile:
    return HashedFile(
        path=file.path,
        size=file.size,
        modified=datetime.fromisoformat(file.modified),
        xxh128=file.digest.removeprefix("xxh128:"),
        action="original",
        hashed=started,
    )


def _completed(completion: Completion, now: datetime) -> HashedFile:
    errand = completion.errand
    assert errand.digest is not None
    return HashedFile(
        path=completion.path,
        size=errand.size,
        modified=completion.modified,
        xxh128=errand.digest.removeprefix("xxh128:"),
        action="original",
        hashed=now,
    )


def _result(roll: Roll) -> RollResult:
    frames = sum(f.role in (Role.RAW, Role.PICTURE) and f.companion_of is None for f in roll.files)
    return RollResult(
        id=roll.id,
        folder=roll.folder,
        camera=roll.camera,
        night=roll.night,
        files=len(roll.files),
        frames=frames,
        size=sum(file.size for file in roll.files),
    )


def _utc(nanoseconds: int) -> datetime:
    return datetime.fromtimestamp(nanoseconds / 1e9, UTC)


def safe_so_far(plans: Sequence[tuple[Sequence[Errand], Mapping[str, str]]]) -> str:
    """What is safe when a run is stopped: of each volume, how many files are verified."""
    total = sum(len(errands) for errands, _ in plans)
    names = {volume: name for _, named in plans for volume, name in named.items()}
    counts = {
        volume: sum(volume in errand.proven for errands, _ in plans for errand in errands) for volume in names
    }
    verified = ", ".join(f"{counts[v]} of {total} files on {shown(names[v])}" for v in names) or "nothing"
    return (
        f"Verified so far: {verified}. Nothing on the card was changed; keep it as it is. "
        "Run the same command again: it goes on where it stopped."
    )
