"""Ending unfinished ingests without their cards, in a real archive."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.cards import NIGHT, archive_in, site_of, tiny_card
from support.stopping import Stop, stop

from archive.errors import Exit, UsageError
from archive.ingest import carrying
from archive.store.durable import LocalDisk
from archive.views.cli.app import app
from archive.workspace import open_archive


def interrupted(archive: Path, card: Path, monkeypatch: pytest.MonkeyPatch, *, at: str) -> None:
    publish = LocalDisk.publish

    def stopping(self: LocalDisk, source: str, target: str) -> None:
        if target.endswith(at):
            raise Stop
        publish(self, source, target)

    with archive_in(archive) as workspace, monkeypatch.context() as patch, pytest.raises(Stop):
        patch.setattr(LocalDisk, "publish", stopping)
        workspace.ingest.take([card], site=site_of(workspace))


def test_a_formatted_card_s_frames_are_seen_and_what_never_came_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 4)
    interrupted(tmp_path / "a", card, monkeypatch, at="NOCT0003.JPG")
    with open_archive(tmp_path / "a") as workspace:
        closing = workspace.ingest.close_unfinished()
        assert [note.path for note in closing.failed] == [f"DCIM/100NOCTU/NOCT000{n}.JPG" for n in (3, 4)]
        assert [roll.files for roll in closing.rolls] == [2]
        assert (len(closing.begun), closing.waiting, closing.exit_code) == (1, (), Exit.ATTENTION)
        assert len(workspace.frames(NIGHT)) == 2
        assert workspace.ingest.unfinished() == []
        assert workspace.custody.audit(lambda *_: None).findings == ()
        again = workspace.ingest.close_unfinished()
        assert (again.begun, again.rolls, again.exit_code) == ((), (), Exit.DONE)
        (report,) = workspace.ingest.take([card], site=site_of(workspace))
        assert (report.copied, len(report.held), report.failed) == (2, 2, ())


def test_it_says_in_words_what_it_did_and_asks_for_a_card_or_the_option(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    card = tiny_card(tmp_path / "card", 2)
    interrupted(tmp_path / "a", card, monkeypatch, at="ascmhl_chain.xml")
    monkeypatch.chdir(tmp_path / "a")

    def typed(*words: str) -> str:
        app(["ingest", *words], standalone_mode=False)
        return capsys.readouterr().out

    told = typed("--close-unfinished")
    assert "is closed." in told
    assert "2 frames, 2 files" in told
    assert "No ingest is unfinished." in typed("--close-unfinished")
    assert json.loads(typed("--close-unfinished", "--json"))["begun"] == []
    for words in ([], [str(card), "--close-unfinished"]):
        with pytest.raises(UsageError, match="Name a card to take in, or --close-unfinished without one"):
            typed(*words)


def test_a_run_stopped_while_it_closes_is_completed_by_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 3)
    interrupted(tmp_path / "a", card, monkeypatch, at="NOCT0003.JPG")
    for step in ("record_generation", "_state", "forget_record"):
        with open_archive(tmp_path / "a") as workspace, monkeypatch.context() as patch, pytest.raises(Stop):
            patch.setattr(carrying, step, stop)
            workspace.ingest.close_unfinished()
    with open_archive(tmp_path / "a") as workspace:
        assert workspace.ingest.close_unfinished().waiting == ()
        assert len(workspace.frames(NIGHT)) == 2
        assert workspace.ingest.unfinished() == []
