from __future__ import annotations

import json
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive.errors import ArchiveError, DamagedFileError, UsageError
from archive.views.cli import app as entry


@pytest.fixture(autouse=True)
def own_signal() -> Iterator[None]:
    before, hook = signal.getsignal(signal.SIGINT), sys.unraisablehook
    yield
    signal.signal(signal.SIGINT, before)
    sys.unraisablehook = hook


def ended(monkeypatch: pytest.MonkeyPatch, error: BaseException, *words: str) -> int | str | None:
    def fail() -> None:
        raise error

    monkeypatch.setattr(entry, "app", fail)
    monkeypatch.setattr(sys, "argv", ["noctuary", *words])
    with pytest.raises(SystemExit) as caught:
        entry.main()
    return caught.value.code


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (UsageError("Wrong.", hint="Right it."), 2),
        (ArchiveError("Refused.", hint="Why."), 3),
        (DamagedFileError("Damaged.", hint="Elsewhere."), 1),
    ],
)
def test_errors_become_a_message_a_next_step_and_a_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], error: ArchiveError, code: int
) -> None:
    assert ended(monkeypatch, error) == code
    captured = capsys.readouterr()
    assert captured.err == f"noctuary: {error.message}\n  {error.hint}\n"
    assert captured.out == ""


def test_with_json_the_error_is_on_the_output_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ended(monkeypatch, UsageError("Wrong.", hint="Right it."), "--json") == 2
    assert json.loads(capsys.readouterr().out) == {"error": "Wrong.", "hint": "Right it."}


def test_a_fault_of_the_system_is_told_in_words_with_its_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ended(monkeypatch, OSError(30, "Read-only file system", "journal\x1b.lock")) == 1
    err = capsys.readouterr().err
    assert err.startswith("noctuary: journal\\x1b.lock: Read-only file system.")
    assert "is safe" in err


def test_ctrl_c_says_what_is_safe_and_ends_as_a_shell_expects(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ended(monkeypatch, entry._StoppedError()) == 130
    assert "Run the same command again" in capsys.readouterr().err


def test_a_bug_is_not_dressed_up_as_something_else(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise KeyError("bug")

    monkeypatch.setattr(entry, "app", fail)
    with pytest.raises(KeyError):
        entry.main()


def test_ctrl_c_while_an_object_is_freed_is_not_lost_and_shows_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Freed:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGINT)

    def work() -> None:
        Freed()
        time.sleep(20)

    monkeypatch.setattr(entry, "app", work)
    monkeypatch.setattr(sys, "argv", ["noctuary"])
    with pytest.raises(SystemExit) as caught:
        entry.main()
    assert caught.value.code == 130
    err = capsys.readouterr().err
    assert err.startswith("noctuary: Interrupted.")
    assert "Traceback" not in err


def test_an_interrupted_demo_does_not_promise_to_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(*_: object, **__: object) -> None:
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr("archive.demo.cards.write_cards", stopped)
    monkeypatch.setattr(sys, "argv", ["noctuary", "demo", str(tmp_path / "night")])
    with pytest.raises(SystemExit) as caught:
        entry.main()
    assert caught.value.code == 130
    err = capsys.readouterr().err.replace("\n", " ")
    assert "is a part of the story. Remove it, or name another folder." in err
    assert "it goes on" not in err
