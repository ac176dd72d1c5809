"""Carrying out what was placed: copy, list, state; each durable before the next."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from archive.errors import shown
from archive.formats.hashlist import HashedFile
from archive.formats.incoming import Incoming, PlannedRoll
from archive.ingest.card import Card, CardFile
from archive.ingest.setting import Outcome, Setting
from archive.ingest.stored_names import escaped_original
from archive.ingest.transfer import CardReadError, copy_file, weaker
from archive.model.capture import Role, Roll, RollFile
from archive.model.entry import Change, Draft
from archive.model.identity import FrameId
from archive.model.results import FileNote, RollResult
from archive.model.roll import VolumeProof, roll_value
from archive.store.durable import temporary_name
from archive.store.masters import record_generation, roll_path
from archive.store.ports import Grade
from archive.store.volumes import MASTERS, Volume

INCOMING = "incoming"
_BATCH_FOLDERS = 64


def carry_out(
    record: Incoming,
    card: Card,
    by_source: Mapping[str, CardFile],
    digests: dict[str, FrameId],
    setting: Setting,
    outcome: Outcome,
) -> None:
    """Copy what a record placed, list it, state it, and forget the record once all of it is durable."""
    total = sum(p.size for roll in record.rolls for p in roll.files)
    done = 0

    def progressed(count: int) -> None:
        nonlocal done
        done += count
        setting.progress("Copying and reading back", done, total)

    finished: list[tuple[PlannedRoll, list[RollFile], dict[str, Grade]]] = []
    missing = False
    for roll in record.rolls:
        if roll.id in setting.known_rolls:
            continue
        listed, grades, absent = _copy_roll(roll, card, by_source, digests, setting, outcome, progressed)
        missing = missing or absent
        if listed:
            finished.append((roll, listed, grades))
    if missing:
        outcome.waiting.append(f"an ingest begun {record.started} waits for files of another card")
        return
    _state_rolls(record, card, finished, setting, outcome)
    setting.volumes[0].disk.remove(f"{INCOMING}/{record.id}.json")
    setting.volumes[0].disk.sync_folder(INCOMING)


def _copy_roll(
    roll: PlannedRoll,
    card: Card,
    by_source: Mapping[str, CardFile],
    digests: dict[str, FrameId],
    setting: Setting,
    outcome: Outcome,
    progressed: Callable[[int], None],
) -> tuple[list[RollFile], dict[str, Grade], bool]:
    """The roll's files that now lie on every volume, the weakest grades, and whether some wait for a card."""
    listed: list[RollFile] = []
    grades: dict[str, Grade] = {}
    folders: set[str] = set()
    absent = False
    masters: dict[str, FrameId] = {escaped_original(path): digest for path, digest in digests.items()}
    for placement in roll.files:
        file = by_source.get(placement.source)
        target = roll_path(roll.folder, placement.path)
        same = file is not None and (file.size, file.modified_ns) == (placement.size, placement.modified_ns)
        if not same:
            found = _on_volumes(target, setting.volumes, grades)
            if found is None:
                absent = True
                continue
            digest = found
        else:
            assert file is not None
            try:
                copied = copy_file(
                    card.source / file.path,
                    target,
                    setting.volumes,
                    temporary=temporary_name("ingest"),
                    modified_ns=placement.modified_ns,
                    progress=progressed,
                )
            except CardReadError as error:
                outcome.failed.append(FileNote(path=shown(file.path), text=str(error)))
                continue
            digest = copied.digest
            digests[file.path] = digest
            outcome.copied += 1
            outcome.copied_size += placement.size
            folders.add(target.rpartition("/")[0])
            for volume, grade in copied.grades.items():
                grades[volume] = weaker(grades.get(volume), grade)
            if len(folders) >= _BATCH_FOLDERS:
                _sync(folders, setting.volumes)
        masters[placement.source] = digest
        listed.append(
            RollFile(
                path=placement.path,
                size=placement.size,
                digest=digest,
                role=placement.role,
                modified=_utc(placement.modified_ns).isoformat(timespec="milliseconds"),
                original=placement.source if placement.source != placement.path else None,
                facts=placement.facts,
                companion_of=None,
            )
        )
    _sync(folders, setting.volumes)
    return _with_masters(roll, listed, masters), grades, absent


def _with_masters(
    roll: PlannedRoll, listed: Sequence[RollFile], masters: Mapping[str, FrameId]
) -> list[RollFile]:
    """Companions pointing at their master's digest, which is known only once it was copied."""
    wanted = {p.path: p.companion_of for p in roll.files}
    result = []
    for file in listed:
        master = wanted[file.path]
        result.append(replace(file, companion_of=masters.get(master) if master else None))
    return result


def _on_volumes(target: str, volumes: Sequence[Volume], grades: dict[str, Grade]) -> FrameId | None:
    """The digest of a file that an earlier run published on every volume; None if it is not on all."""
    digest = None
    for volume in volumes:
        if volume.disk.stat(target) is None:
            return None
        found, grade = volume.disk.read_back(target)
        if digest is not None and found != digest:
            return None
        digest = FrameId(found)
        grades[volume.id] = weaker(grades.get(volume.id), grade)
    return digest


def _sync(folders: set[str], volumes: Sequence[Volume]) -> None:
    for volume in volumes:
        for folder in sorted(folders):
            volume.disk.sync_folder(folder)
    folders.clear()


def _state_rolls(
    record: Incoming,
    card: Card,
    finished: Sequence[tuple[PlannedRoll, list[RollFile], dict[str, Grade]]],
    setting: Setting,
    outcome: Outcome,
) -> None:
    """Hash lists on every volume, then one entry for each night."""
    started = datetime.fromisoformat(record.started)
    for roll, listed, _ in finished:
        hashed = [_hashed(file, started) for file in listed]
        for volume in setting.volumes:
            record_generation(
                volume.disk,
                roll.folder,
                hashed,
                created=started,
                tool_version=setting.tool_version,
                process="transfer",
                author=record.person or None,
            )
            volume.disk.sync_folder(f"{MASTERS}/{roll.folder}")
    by_night: dict[str, list[Change]] = {}
    for roll, listed, grades in finished:
        made = Roll(
            id=roll.id,
            folder=roll.folder,
            camera=roll.camera,
            night=roll.night,
            site=roll.site,
            card=roll.card,
            files=tuple(listed),
        )
        proofs = tuple(VolumeProof(volume=v, grade=str(g)) for v, g in sorted(grades.items()))
        value = roll_value(made, started=record.started, ended=stamp(), volumes=proofs)
        change = Change(subjects=(f"roll:{roll.id}",), layer="ingest", value=value)
        by_night.setdefault(roll.night, []).append(change)
        for name, grade in grades.items():
            outcome.grades[name] = weaker(outcome.grades.get(name), grade)
        outcome.rolls.append(_result(made))
    report = _card_report(record, card, setting, outcome)
    for position, (_, changes) in enumerate(sorted(by_night.items())):
        setting.state(Draft(kind="ingest", changes=(*changes, *([report] if position == 0 else []))))


def _card_report(record: Incoming, card: Card, setting: Setting, outcome: Outcome) -> Change:
    def notes(items: Sequence[FileNote]) -> list[dict[str, str]]:
        return [{"path": note.path, "text": note.text} for note in items]

    return Change(
        subjects=(f"ingest:{record.id}",),
        layer="card",
        value={
            "source": shown(card.source.name),
            "card": setting.card,
            "held": len(outcome.held),
            "ignored": notes(outcome.ignored),
            "failed": notes(outcome.failed),
        },
    )


def _hashed(file: RollFile, started: datetime) -> HashedFile:
    return HashedFile(
        path=file.path,
        size=file.size,
        modified=datetime.fromisoformat(file.modified),
        xxh128=file.digest.removeprefix("xxh128:"),
        action="original",
        hashed=started,
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


def stamp() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S+00:00")
