"""Names that never replace: the system's own way here, the other systems' ways behind a simulated port.

Exclusive rename runs for real on this system, links and the lock for real on its file system; macOS and
Windows themselves, and file systems without links or with names of any case, are simulated.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest

from archive.store import naming
from archive.store.naming import Names, Naming, SystemNames, give_name


class Without(SystemNames):
    """This system without some of its calls, refused as file systems refuse them."""

    def __init__(self, *, rename: bool = True, link: int | None = None) -> None:
        self._rename = rename
        self._link = link

    def rename_exclusive(self, source: Path, target: Path) -> bool:
        return self._rename and super().rename_exclusive(source, target)

    def link(self, source: Path, target: Path) -> None:
        if self._link is not None:
            raise OSError(self._link, os.strerror(self._link))
        super().link(source, target)


class CaseBlind:
    """A file system in memory that keeps names as written and takes any case of them for the same.

    ``exclusive``: its rename refuses a name in use, as Windows' does; without it there are no links either.
    """

    def __init__(self, names: dict[str, bytes], *, exclusive: bool) -> None:
        self.names = dict(names)
        self._exclusive = exclusive

    def rename_exclusive(self, source: Path, target: Path) -> bool:
        if not self._exclusive:
            return False
        if self.taken(target):
            raise FileExistsError(errno.EEXIST, "File exists", str(target))
        self.rename(source, target)
        return True

    def link(self, source: Path, target: Path) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    def taken(self, target: Path) -> bool:
        return str(target).casefold() in {name.casefold() for name in self.names}

    def rename(self, source: Path, target: Path) -> None:
        self.names[str(target)] = self.names.pop(str(source))

    def remove(self, source: Path) -> None:
        del self.names[str(source)]


class Claim:
    """A lock that counts how often it was held, and whether it is held now."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self) -> AbstractContextManager[None]:
        @contextmanager
        def held() -> Iterator[None]:
            self.count += 1
            yield

        return held()


WAYS: dict[str, tuple[Names, Naming]] = {
    "system": (SystemNames(), Naming.RENAME),
    "link": (Without(rename=False), Naming.LINK),
    "claim": (Without(rename=False, link=errno.EPERM), Naming.CLAIM),
    "share": (Without(rename=False, link=errno.ENOTSUP), Naming.CLAIM),
}


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest) -> tuple[Names, Naming]:
    return WAYS[request.param]


def given(source: Path, target: Path, names: Names) -> tuple[Naming, int]:
    claim = Claim()
    return give_name(source, target, claim=claim, names=names), claim.count


def test_a_free_name_is_given_and_the_old_one_gone(way: tuple[Names, Naming], tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    naming_used, claims = given(tmp_path / "a", tmp_path / "b", way[0])
    assert naming_used is way[1]
    assert claims == (way[1] is Naming.CLAIM)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b"]
    assert (tmp_path / "b").stat().st_nlink == 1


def test_a_name_in_use_is_never_replaced(way: tuple[Names, Naming], tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"b")
    with pytest.raises(FileExistsError):
        given(tmp_path / "a", tmp_path / "b", way[0])
    assert (tmp_path / "a").read_bytes() == b"a"
    assert (tmp_path / "b").read_bytes() == b"b"


def test_a_dangling_link_counts_as_a_name_in_use(way: tuple[Names, Naming], tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FileExistsError):
        given(tmp_path / "a", tmp_path / "b", way[0])
    assert not (tmp_path / "nowhere").exists()


def test_a_source_that_is_not_there_is_told(way: tuple[Names, Naming], tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        given(tmp_path / "a", tmp_path / "b", way[0])


def test_names_of_any_bytes_are_renamed(way: tuple[Names, Naming], tmp_path: Path) -> None:
    source = tmp_path / os.fsdecode(b"a\xff\n")
    source.write_bytes(b"a")
    given(source, tmp_path / os.fsdecode(b"b\xfe"), way[0])
    assert os.listdir(os.fsencode(tmp_path)) == [b"b\xfe"]


def test_a_fault_of_the_drive_is_no_lack_of_links(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    with pytest.raises(OSError, match="Input/output error"):
        given(tmp_path / "a", tmp_path / "b", Without(rename=False, link=errno.EIO))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a"]


@pytest.mark.parametrize(
    ("exclusive", "used"), [(True, Naming.RENAME), (False, Naming.CLAIM)], ids=["windows", "exfat"]
)
def test_where_case_does_not_count_a_name_of_other_case_is_in_use(exclusive: bool, used: Naming) -> None:
    disk = CaseBlind({"/incoming/x": b"new", "/masters/A0001.JPG": b"held"}, exclusive=exclusive)
    with pytest.raises(FileExistsError):
        given(Path("/incoming/x"), Path("/masters/a0001.jpg"), disk)
    assert disk.names == {"/incoming/x": b"new", "/masters/A0001.JPG": b"held"}
    assert given(Path("/incoming/x"), Path("/masters/A0002.JPG"), disk)[0] is used
    assert disk.names == {"/masters/A0001.JPG": b"held", "/masters/A0002.JPG": b"new"}


class Library:
    """A system library whose rename calls answer as told."""

    def __init__(self, name: str, result: int) -> None:
        self.calls: list[tuple[object, ...]] = []

        def call(*arguments: object) -> int:
            self.calls.append(arguments)
            return result

        setattr(self, name, call)


@pytest.mark.parametrize("code", [errno.EINVAL, errno.ENOSYS, errno.ENOTSUP])
@pytest.mark.parametrize(("platform", "call"), [("linux", "renameat2"), ("darwin", "renamex_np")])
def test_a_system_call_that_the_file_system_does_not_know_gives_way_to_a_link(
    code: int, platform: str, call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    library = Library(call, -1)
    monkeypatch.setattr(naming.sys, "platform", platform)
    monkeypatch.setattr(naming, "_library", lambda: library)
    monkeypatch.setattr(naming.ctypes, "get_errno", lambda: code)
    (tmp_path / "a").write_bytes(b"a")
    assert given(tmp_path / "a", tmp_path / "b", SystemNames()) == (Naming.LINK, 0)
    assert len(library.calls) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b"]


def test_the_call_of_macos_is_asked_to_be_exclusive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library = Library("renamex_np", 0)
    monkeypatch.setattr(naming.sys, "platform", "darwin")
    monkeypatch.setattr(naming, "_library", lambda: library)
    assert SystemNames().rename_exclusive(Path("/a"), Path("/b"))
    # RENAME_EXCL is 0x4 in <sys/stdio.h> (from memory).
    assert library.calls == [(b"/a", b"/b", 4)]


def test_a_system_without_such_a_call_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(naming.sys, "platform", "freebsd")
    assert not SystemNames().rename_exclusive(Path("/a"), Path("/b"))
