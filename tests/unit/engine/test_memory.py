"""How large a frame may be for the memory there is."""

from pathlib import Path

import pytest

from archive.engine import memory
from archive.engine.memory import Room, usable

GB = 1_000_000_000
PANORAMA, MEDIUM_FORMAT = 150_000_000, 150_000_000


def said(folder: Path, name: str, text: str) -> None:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


@pytest.fixture(autouse=True)
def machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine of 16 GB without limits."""
    monkeypatch.setattr(memory, "_physical", lambda: 16 * GB)
    resource = pytest.importorskip("resource")
    monkeypatch.setattr(resource, "getrlimit", lambda _: (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


def test_most_of_the_machines_memory_may_be_used(tmp_path: Path) -> None:
    assert usable(tmp_path) == 14 * GB


def test_where_nothing_is_told_nothing_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_physical", lambda: None)
    assert usable(tmp_path) is None
    assert Room(memory=None, frames=2).share_of_pixels(0) is None


@pytest.mark.parametrize(
    ("groups", "limits"),
    [
        ("0::/one/two\n", {"sys/fs/cgroup/one/two/memory.max": "8000000000\n"}),
        ("0::/one/two\n", {
            "sys/fs/cgroup/one/memory.max": "8000000000\n", "sys/fs/cgroup/one/two/memory.max": "max\n",
        }),
        ("5:cpu:/\n4:memory:/one\n0::/\n", {"sys/fs/cgroup/memory/memory.limit_in_bytes": "8000000000\n"}),
    ],
)  # fmt: skip
def test_a_containers_limit_is_kept(tmp_path: Path, groups: str, limits: dict[str, str]) -> None:
    """Where they lie is told by cgroups(7) and the kernel's admin guide on control groups, both versions."""
    said(tmp_path, "proc/self/cgroup", groups)
    for name, text in limits.items():
        said(tmp_path, name, text)
    assert usable(tmp_path) == 7 * GB


def test_of_a_limited_address_space_what_is_taken_already_is_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    resource = pytest.importorskip("resource")
    page = resource.getpagesize()
    monkeypatch.setattr(resource, "getrlimit", lambda _: (7 * GB, resource.RLIM_INFINITY))
    assert usable(tmp_path) == 7 * GB
    said(tmp_path, "proc/self/statm", "100000 20000 3000 1 0 50000 0\n")
    assert usable(tmp_path) == 7 * GB - 100_000 * page


@pytest.mark.parametrize("frames", [1, 8])
def test_large_frames_that_cameras_make_are_developed_on_usual_machines(frames: int) -> None:
    """A panorama of 16 bits with 16 GB, a medium-format raw with 8 GB."""
    panorama = Room(memory=14 * GB, frames=frames).wanted(PANORAMA, "picture", 6 * PANORAMA)
    assert panorama <= 14 * GB
    assert Room(memory=7 * GB, frames=frames).wanted(MEDIUM_FORMAT, "mosaic", 2 * MEDIUM_FORMAT) <= 7 * GB


def test_a_share_is_what_several_frames_may_take_at_once() -> None:
    room = Room(memory=8 * GB, frames=4)
    share = room.share_of_pixels(0)
    assert share is not None
    one_by_one = Room(memory=2 * GB, frames=1)
    assert one_by_one.wanted(share, "picture", 0) <= 2 * GB < one_by_one.wanted(share + 1, "picture", 0)
    assert room.share_of_pixels(3 * GB) == 0
