"""Volumes that lack what another one holds: brought up from the card at hand, or proven as they lie."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from archive.errors import shown
from archive.ingest.card import Card, CardFile
from archive.ingest.errand import Errand
from archive.ingest.reading import CardReadError, read_digest
from archive.ingest.setting import Listed, Outcome, Setting
from archive.ingest.stored_names import escaped_original
from archive.ingest.unfinished import Unfinished
from archive.model.identity import FrameId
from archive.model.results import FileNote
from archive.store.masters import roll_path
from archive.store.volumes import MASTERS, Volume, held_files


@dataclass(frozen=True, kw_only=True)
class Completion:
    """A file of a stated roll that one volume lacks, or holds without having listed it."""

    volume: Volume
    folder: str
    path: str
    modified: datetime
    errand: Errand


def already_held(
    card: Card,
    files: Sequence[CardFile],
    placed: Collection[str],
    doubtful: Collection[str],
    setting: Setting,
    outcome: Outcome,
) -> tuple[dict[str, FrameId], list[Completion]]:
    """Digests of the files whose bytes some volume holds, and what the other volumes lack of them.

    Only files of a size that is held are read; of those ``placed`` by an unfinished ingest only the
    ``doubtful`` ones, and they are held only if a roll that was stated has them.
    """
    candidates = [
        f
        for f in files
        if f.size in setting.held and ((name := escaped_original(f.path)) not in placed or name in doubtful)
    ]
    total = sum(file.size for file in candidates)
    done = 0
    digests: dict[str, FrameId] = {}
    lacking: list[Completion] = []
    for file in candidates:
        setting.engine.checkpoint()
        try:
            digest = read_digest(card.source / file.path)
        except CardReadError:
            # The copying meets the same fault and reports it.
            continue
        done += file.size
        setting.progress("Comparing with what is held", done, total)
        if digest not in setting.held[file.size]:
            continue
        if escaped_original(file.path) not in placed or _stated(digest, setting):
            if digest not in digests.values():
                lacking += _lacking(card, file, digest, setting)
            digests[file.path] = digest
            outcome.held.append(FileNote(path=shown(file.path), text=digest))
    return digests, lacking


def _stated(digest: FrameId, setting: Setting) -> bool:
    rolls = (path.split("/")[1].rpartition("-")[2] for _, path in setting.copies(digest))
    return any(roll in setting.known_rolls for roll in rolls)


def _lacking(card: Card, file: CardFile, digest: FrameId, setting: Setting) -> list[Completion]:
    copies = setting.copies(digest)
    holders = {volume for volume, _ in copies}
    if not copies:
        return []
    night, roll, path = copies[0][1].split("/", 2)
    return [
        Completion(
            volume=volume,
            folder=f"{night}/{roll}",
            path=path,
            modified=datetime.fromtimestamp(file.modified_ns / 1e9, UTC),
            errand=Errand(
                source=card.source / file.path,
                name=file.path,
                target=f"{MASTERS}/{copies[0][1]}",
                size=file.size,
                modified_ns=file.modified_ns,
                wanted=frozenset((volume.id,)),
                digest=digest,
            ),
        )
        for volume in setting.volumes
        if volume.id not in holders
    ]


def pending(
    unfinished: Iterable[Unfinished],
    setting: Setting,
    volumes: Sequence[Volume],
    lacking: Sequence[Completion],
    outcome: Outcome,
) -> list[Completion]:
    """What a volume holds of rolls that were stated without it: unlisted so far, to be proven and listed.

    What it does not hold and this card does not bring is told.
    """
    brought = {(each.volume.id, each.errand.target) for each in lacking}
    found = []
    for each in unfinished:
        for roll in each.record.rolls:
            if roll.id not in setting.known_rolls:
                continue
            stated = setting.files_of(roll.id)
            for volume in volumes:
                if volume.id not in each.holders:
                    continue
                absent = 0
                listed = held_files(volume.disk, roll.folder)
                for path, file in stated.items():
                    target = roll_path(roll.folder, path)
                    if path in listed or (volume.id, target) in brought:
                        continue
                    if volume.disk.stat(target) is None:
                        absent += 1
                        continue
                    found.append(_unlisted(volume, roll.folder, path, file))
                stray = sum(
                    volume.disk.stat(roll_path(roll.folder, placement.path)) is not None
                    for placement in roll.files
                    if placement.path not in stated and placement.path not in listed
                )
                if stray:
                    outcome.waiting.append(
                        f"{shown(volume.name)} holds {stray} files of {MASTERS}/{roll.folder} that no list "
                        "has: that ingest was ended without it. They were left as they are; take their card "
                        "in again, or keep them by hand"
                    )
                if absent:
                    outcome.waiting.append(
                        f"{shown(volume.name)} lacks {absent} files of {MASTERS}/{roll.folder}, which was "
                        "taken in without it; take that card in again with it"
                    )
    return found


def _unlisted(volume: Volume, folder: str, path: str, file: Listed) -> Completion:
    modified = datetime.fromisoformat(file.modified)
    return Completion(
        volume=volume,
        folder=folder,
        path=path,
        modified=modified,
        errand=Errand(
            source=None,
            name=path,
            target=roll_path(folder, path),
            size=file.size,
            modified_ns=round(modified.timestamp() * 1e9),
            wanted=frozenset((volume.id,)),
            digest=FrameId(file.digest),
        ),
    )


def by_roll(completions: Iterable[Completion]) -> Mapping[tuple[str, str], list[Completion]]:
    """Completions by (volume id, roll folder), in order."""
    found: dict[tuple[str, str], list[Completion]] = {}
    for each in completions:
        found.setdefault((each.volume.id, each.folder), []).append(each)
    return dict(sorted(found.items()))
