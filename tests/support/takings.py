"""Cards taken into volumes in memory: the real ingest without a catalogue, so that every step can fail."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from support.disks import MemoryDisk

from archive.errors import ArchiveError
from archive.formats.volume import VolumeMark
from archive.ingest import run
from archive.ingest.buffers import Pool
from archive.ingest.errand import Errand
from archive.ingest.planning import Plan
from archive.ingest.setting import Listed, Outcome, Setting
from archive.ingest.stages import StageMaker, inline
from archive.ingest.transfer import Engine
from archive.ingest.troubles import cannot_write
from archive.journal.log import Fault, Log
from archive.journal.uniting import unite
from archive.model.capture import Camera
from archive.store.digest import digest_bytes
from archive.store.durable import read_bytes, tidy
from archive.store.ports import Disk
from archive.store.volumes import MASTERS, Volume, held_files, roll_folders

STARTED = "2026-03-19T06:01:50+00:00"


def volume_in(disk: MemoryDisk, name: str) -> Volume:
    """A volume whose tree is a disk in memory."""
    mark = VolumeMark(archive="a" * 32, volume=digest_bytes(name.encode())[7:], name=name, created="")
    return Volume(root=Path("/nowhere") / name, mark=mark, disk=disk)


@dataclass
class Taking:
    """One program that takes cards into some disks; what it planned stays readable if it is stopped."""

    disks: Mapping[str, MemoryDisk]
    stages: StageMaker = inline
    block: int = 1 << 16
    plans: list[Plan] = field(default_factory=list)
    progress: Callable[[str, int, int], None] = lambda _stage, _done, _total: None

    def __post_init__(self) -> None:
        self.volumes = [volume_in(disk, name) for name, disk in self.disks.items()]
        self.lost: dict[str, ArchiveError] = {}
        self.log = Log([v.disk for v in self.volumes], writer="w1", person="Ingrid", say=lambda _text: None)
        self.log.lost = self._lost

    def take(self, *cards: Path) -> list[Outcome | ArchiveError]:
        """Take in cards as :meth:`archive.ingest.part.Ingest.take` does."""
        for volume in self.volumes:
            tidy(volume.disk, "ingest")
        for volume in self.volumes[1:]:
            unite(self.volumes[0].disk, volume.disk)
            unite(volume.disk, self.volumes[0].disk)
        made = run.make_plan

        def kept(*arguments: Any, **options: Any) -> Plan:
            plan = made(*arguments, **options)
            self.plans.append(plan)
            return plan

        run.make_plan = kept  # type: ignore[assignment]
        try:
            return [outcome for _, outcome in run.take_cards(cards, self.setting)]
        finally:
            run.make_plan = made

    def setting(self) -> Setting:
        """What the next card stands on."""
        entries = [entry for entry in self.log.read_new(set()) if not isinstance(entry, Fault)]
        changes = [change for entry in entries for change in entry.changes]
        rolls = {c.subjects[0].removeprefix("roll:"): c.value for c in changes if c.layer == "ingest"}
        copies: dict[str, list[tuple[str, str]]] = {}
        held: dict[int, set[str]] = {}
        for volume in self.volumes:
            for folder in roll_folders(volume.disk):
                for path, file in held_files(volume.disk, folder).items():
                    digest = f"xxh128:{file.xxh128}"
                    copies.setdefault(digest, []).append((volume.id, f"{folder}/{path}"))
                    held.setdefault(file.size, set()).add(digest)
        return Setting(
            volumes=self.volumes,
            cameras={
                c.subjects[0]: Camera(id=c.subjects[0], **c.value) for c in changes if c.layer == "camera"
            },
            clocks=lambda _camera: [],
            site=None,
            held=held,
            copies=lambda digest: copies.get(digest, []),
            known_rolls=set(rolls),
            files_of=lambda roll: {
                f["path"]: Listed(digest=f["digest"], size=f["size"], modified=f["modified"])
                for f in rolls[roll]["files"]
            },
            person="Ingrid",
            tool_version="0.1.0",
            state=lambda draft: void(self.log.append(draft)),
            leave=self._leave,
            lost=self.lost,
            engine=Engine(stages=self.stages, pool=Pool(blocks=4, size=self.block)),
            stamp=lambda: STARTED,
            progress=self.progress,
        )

    def _leave(self, volume: Volume, error: ArchiveError) -> None:
        self.volumes[:] = [each for each in self.volumes if each.id != volume.id]
        self.log.leave(volume.disk)
        self.lost[volume.id] = error

    def _lost(self, disk: Disk, error: OSError) -> None:
        volume = next(each for each in self.volumes if each.disk is disk)
        self._leave(volume, cannot_write(volume, error))

    @property
    def errands(self) -> list[Errand]:
        return [errand for plan in self.plans for errand in plan.errands]


def void(_value: object) -> None:
    """Nothing: for calls whose answer is not wanted."""


def masters(disk: MemoryDisk) -> dict[str, bytes]:
    """Bytes of every master, by path below its roll."""
    return {
        path.split("/", 3)[3]: bytes(node.data)
        for path, node in disk.names.items()
        if path.startswith(f"{MASTERS}/") and "/ascmhl/" not in path
    }


def listed(disk: MemoryDisk) -> dict[str, str]:
    """What the hash lists hold: digests by path below the roll."""
    return {
        path: f"xxh128:{file.xxh128}"
        for folder in roll_folders(disk)
        for path, file in held_files(disk, folder).items()
    }


def statements(disks: Sequence[MemoryDisk], layer: str = "ingest") -> list[Any]:
    """What entries on any of the disks state in a layer."""
    log = Log(list(disks), writer="w1", person="Ingrid", say=lambda _text: None)
    entries = [entry for entry in log.read_new(set()) if not isinstance(entry, Fault)]
    return [change.value for entry in entries for change in entry.changes if change.layer == layer]


def unlisted_or_wrong(disk: MemoryDisk, expected: Mapping[str, bytes]) -> list[str]:
    """Published files whose bytes are not the card's, and listed ones that are not there or differ."""
    wrong = [path for path, data in masters(disk).items() if expected.get(path) != data]
    for folder in roll_folders(disk):
        for path, file in held_files(disk, folder).items():
            where = f"{MASTERS}/{folder}/{path}"
            there = disk.stat(where) is not None
            if not there or digest_bytes(read_bytes(disk, where)) != f"xxh128:{file.xxh128}":
                wrong.append(where)
    return wrong
