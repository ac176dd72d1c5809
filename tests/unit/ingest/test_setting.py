"""What one ingest stands on."""

from __future__ import annotations

from archive.ingest.setting import Outcome, Setting


def test_outcomes_share_no_lists() -> None:
    one, other = Outcome(), Outcome()
    one.waiting.append("x")
    one.grades["v"] = next(iter(()), None)  # type: ignore[assignment]
    assert other == Outcome()


def test_progress_is_told_to_nobody_unless_someone_listens() -> None:
    setting = Setting(
        volumes=(), cameras={}, clocks=lambda _camera: [], site=None, held={}, known_rolls=set(), person="",
        tool_version="0", state=lambda _draft: None,
    )  # fmt: skip
    assert setting.progress("Copying", 1, 2) is None  # type: ignore[func-returns-value]
