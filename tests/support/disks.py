"""A disk in memory that can stop at any step, and forget whatever was not synced.

It keeps the promises of :class:`archive.store.ports.Disk` and no more: bytes are durable after ``finish`` or
``settle``, names after ``sync_folder`` of their folder.
"""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Hashable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from archive.errors import ArchiveError
from archive.store.digest import digest_bytes
from archive.store.listing import Listing
from archive.store.naming import Naming
from archive.store.ports import Grade, Stat, Writing
from archive.store.traits import Traits


class Stopped(BaseException):
    """The machine went away; not an Exception, so that no handler mistakes it for a fault of a file."""


@dataclass
class Node:
    """One file's bytes: as written, and as far as they are durable."""

    data: bytearray = field(default_factory=bytearray)
    durable: bytes = b""
    writable: bool = True
    modified_ns: int = 0


class Machine:
    """What disks of one machine share: a count of their mutating calls, and when the machine goes away.

    Parameters
    ----------
    stop_at : the mutating call, counted from 1 over all disks, at which the machine goes away; None never.
    after : the call still takes effect; of a write without it, only the first half does.
    """

    def __init__(self, *, stop_at: int | None = None, after: bool = False) -> None:
        self.stop_at = stop_at
        self.after = after
        self.steps = 0
        self.dead = False


class MemoryDisk:
    """A disk in memory.

    Parameters
    ----------
    stop_at, after : of a machine that has no other disk.
    machine : the machine that the disk is in, shared with its other disks.
    traits : what the file system cannot keep, and how it gives names: by a link, that is two steps.
    faults : asked before each mutating or proving call in its words, such as ``write incoming/x``; may raise.
    """

    def __init__(
        self,
        *,
        stop_at: int | None = None,
        after: bool = False,
        machine: Machine | None = None,
        traits: Traits | None = None,
        faults: Callable[[str], None] = lambda _what: None,
    ) -> None:
        self.names: dict[str, Node] = {}
        self.durable_names: dict[str, Node] = {}
        self.machine = machine or Machine(stop_at=stop_at, after=after)
        self.log: list[str] = []
        self.faults = faults
        self.room = 1 << 40
        self.block = 1
        self.pool: Hashable = id(self)
        self._traits = traits or Traits(kind="memory")
        self._locked: set[str] = set()

    @property
    def steps(self) -> int:
        return self.machine.steps

    @property
    def dead(self) -> bool:
        return self.machine.dead

    # -- what is left --------------------------------------------------------------------------

    def after_kill(self) -> MemoryDisk:
        """The program was killed, the system lived on: everything that was done is there.

        What was not synced still is not: the power may go later.
        """
        disk = self._remains({path: (node, bytes(node.data)) for path, node in self.names.items()})
        copies = {id(node): disk.names[path] for path, node in self.names.items()}
        for path, node in self.names.items():
            disk.names[path].durable = node.durable
        disk.durable_names = {
            path: copies.get(id(node)) or Node(data=bytearray(node.data), durable=node.durable)
            for path, node in self.durable_names.items()
        }
        return disk

    def after_power_loss(self) -> MemoryDisk:
        """The power went: only synced names, and of each only synced bytes."""
        return self._remains({path: (node, node.durable) for path, node in self.durable_names.items()})

    def after_torn_loss(self) -> MemoryDisk:
        """The power went when names had reached the medium by themselves and bytes had not."""
        return self._remains({path: (node, node.durable) for path, node in self.names.items()})

    def after_partial_loss(self) -> MemoryDisk:
        """The power went when any of the names that were not synced had reached the medium by themselves."""
        chance = random.Random(f"{self.machine.steps} {len(self.log)}")
        files = {}
        for path in sorted({*self.names, *self.durable_names}):
            now, before = self.names.get(path), self.durable_names.get(path)
            node = now if now is before or chance.random() < 0.5 else before
            if node is not None:
                files[path] = (node, node.durable)
        return self._remains(files)

    def _remains(self, files: dict[str, tuple[Node, bytes]]) -> MemoryDisk:
        disk = MemoryDisk(traits=self._traits)
        for path, (node, data) in files.items():
            kept = Node(
                data=bytearray(data), durable=data, writable=node.writable, modified_ns=node.modified_ns
            )
            disk.names[path] = disk.durable_names[path] = kept
        return disk

    # -- steps ---------------------------------------------------------------------------------

    @contextmanager
    def step(self, what: str) -> Iterator[bool]:
        """One mutating call; gives whether it is to be done whole."""
        self._alive()
        machine = self.machine
        machine.steps += 1
        self.log.append(what)
        self.faults(what)
        stops = machine.steps == machine.stop_at
        if stops and not machine.after:
            machine.dead = True
            if what.startswith("write"):
                yield False
            raise Stopped(what)
        yield True
        if stops:
            machine.dead = True
            raise Stopped(what)

    def _alive(self) -> None:
        if self.dead:
            raise Stopped("the machine is gone")

    @staticmethod
    def _checked(path: str) -> str:
        pure = PurePosixPath(path)
        if pure.is_absolute() or ".." in pure.parts:
            raise ArchiveError(f"{path} points outside its volume.")
        return str(pure) if path else ""

    def _node(self, path: str) -> Node:
        self._alive()
        node = self.names.get(self._checked(path))
        if node is None:
            raise FileNotFoundError(path)
        return node

    # -- writing -------------------------------------------------------------------------------

    def begin(self, path: str) -> MemoryWriting:
        with self.step(f"begin {path}"):
            if self._checked(path) in self.names:
                raise FileExistsError(path)
            self.names[path] = Node()
        return MemoryWriting(self, path)

    def finish_all(self, writings: Sequence[Writing]) -> None:
        for writing in writings:
            writing.finish()

    def lend(self, path: str) -> Path:
        raise NotImplementedError("a disk in memory has no real paths")

    def settle(self, path: str) -> None:
        with self.step(f"settle {path}"):
            node = self._node(path)
            node.durable, node.writable = bytes(node.data), False

    def publish(self, source: str, target: str) -> None:
        if self._traits.naming is Naming.CLAIM:
            with self.step(f"claim {target}"):
                pass
        with self.step(f"publish {target}"):
            node = self._node(source)
            if self._checked(target) in self.names:
                raise FileExistsError(target)
            self.names[target] = node
            if self._traits.naming is not Naming.LINK:
                del self.names[source]
        if self._traits.naming is Naming.LINK:
            with self.step(f"unlink {source}"):
                del self.names[source]

    def replace(self, source: str, target: str) -> None:
        with self.step(f"replace {target}"):
            self.names[self._checked(target)] = self._node(source)
            del self.names[source]

    def sync_folder(self, path: str) -> None:
        with self.step(f"sync {path}"):
            self._checked(path)
            for name in [n for n in self.durable_names if self._folder(n) == path]:
                if name not in self.names:
                    del self.durable_names[name]
            for name, node in self.names.items():
                if self._folder(name) == path:
                    self.durable_names[name] = node

    def protect(self, path: str) -> None:
        with self.step(f"protect {path}"):
            self._node(path).writable = False

    def remove(self, path: str) -> None:
        with self.step(f"remove {path}"):
            self.names.pop(self._checked(path), None)

    # -- reading -------------------------------------------------------------------------------

    @staticmethod
    def _folder(path: str) -> str:
        return path.rpartition("/")[0]

    def open(self, path: str) -> BinaryIO:
        return io.BytesIO(bytes(self._node(path).data))

    def read_back(self, path: str) -> tuple[str, Grade]:
        self.faults(f"read back {path}")
        return digest_bytes(bytes(self._node(path).data)), Grade.DIRECT

    def stat(self, path: str) -> Stat | None:
        self._alive()
        node = self.names.get(self._checked(path))
        if node is None:
            return None
        return Stat(size=len(node.data), modified_ns=node.modified_ns, writable=node.writable)

    def files(self, path: str) -> list[str]:
        self._alive()
        path = self._checked(path)
        return sorted(name.rpartition("/")[2] for name in self.names if self._folder(name) == path)

    def folders(self, path: str) -> list[str]:
        self._alive()
        path = self._checked(path)
        start = f"{path}/" if path else ""
        below = [name.removeprefix(start) for name in self.names if name.startswith(start)]
        return sorted({name.partition("/")[0] for name in below if "/" in name})

    def listing(self, path: str, held: str = "") -> Listing:
        assert not held, "nothing here has a mark"
        return Listing(files=tuple(self.files(path)), folders=tuple(self.folders(path)))

    def walk(self, path: str) -> Iterator[tuple[str, Stat]]:
        start = f"{path}/" if path else ""
        for name in self.files(path):
            found = self.stat(start + name)
            assert found is not None
            yield start + name, found
        for name in self.folders(path):
            yield from self.walk(start + name)

    def free(self) -> int:
        return self.room

    def cluster(self) -> int:
        return self.block

    def system(self) -> Hashable:
        return self.pool

    def traits(self) -> Traits:
        return self._traits

    @contextmanager
    def lock(self, name: str, purpose: str) -> Iterator[None]:
        assert name not in self._locked, "a lock was asked for twice by the same program"
        self._locked.add(name)
        try:
            yield
        finally:
            self._locked.discard(name)


class MemoryWriting:
    """A file being written on a disk in memory."""

    def __init__(self, disk: MemoryDisk, path: str) -> None:
        self._disk = disk
        self._path = path
        self._node = disk.names[path]
        self._sealed = False

    def write(self, block: bytes | memoryview) -> None:
        with self._disk.step(f"write {self._path}") as whole:
            data = bytes(block)
            self._node.data += data if whole else data[: len(data) // 2]

    def seal(self, *, modified_ns: int | None = None) -> None:
        with self._disk.step(f"seal {self._path}"):
            self._node.writable = False
            self._node.modified_ns = modified_ns or 0
            self._sealed = True

    def finish(self, *, modified_ns: int | None = None) -> None:
        if not self._sealed:
            self.seal(modified_ns=modified_ns)
        with self._disk.step(f"finish {self._path}"):
            self._node.durable = bytes(self._node.data)

    def abandon(self) -> None:
        if not self._disk.dead and self._disk.names.get(self._path) is self._node:
            del self._disk.names[self._path]


REMAINS = ("after_kill", "after_power_loss", "after_torn_loss", "after_partial_loss")
"""What may be left when a machine stops, by the method that gives it."""
