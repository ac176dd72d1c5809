from __future__ import annotations

import pytest

from archive.views.cli import running
from archive.views.cli.running import Running


def test_in_a_pipe_progress_is_plain_lines_now_and_then(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    moment = [0.0]
    monkeypatch.setattr(running.time, "monotonic", lambda: moment[0])
    with Running() as told:
        for done in range(0, 101, 10):
            told("Copying", done, 100)
            moment[0] += 4
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.splitlines() == ["Copying: 30 %", "Copying: 60 %", "Copying: 90 %"]


def test_quiet_is_silent_and_nothing_of_nothing_is_no_fault(capsys: pytest.CaptureFixture[str]) -> None:
    with Running(quiet=True) as told:
        told("Copying", 1, 2)
    with Running() as told:
        told("Copying", 0, 0)
        told("Reading", 0, 0)
    assert capsys.readouterr().err == ""
