"""The gallery command: samples, failures and the exit code."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from archive.demo import cards
from archive.errors import Exit, UsageError
from archive.views.cli.app import app


def test_a_gallery_of_samples_is_made_and_a_bad_one_calls_for_attention(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("archive.demo.gallery.EXHIBITS", ())
    samples = tmp_path / "raws"
    samples.mkdir()
    (raw,) = cards.raw_files("north", [9], size=(96, 64), frames=12)
    (samples / "a.dng").write_bytes(raw)
    words = ["gallery", str(tmp_path / "g"), "--samples", str(samples), "--size", "200"]
    assert (app(words, standalone_mode=False) or 0) == Exit.DONE
    assert "pictures of 1 frames" in capsys.readouterr().out.replace("\n", " ")
    (samples / "b.dng").write_bytes(b"nothing")
    words[1] = str(tmp_path / "h")
    assert app([*words, "--json"], standalone_mode=False) == Exit.ATTENTION
    assert [note["path"] for note in json.loads(capsys.readouterr().out)["failed"]] == ["b.dng"]


def test_samples_must_be_a_folder(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="is no folder"):
        app(["gallery", str(tmp_path / "g"), "--samples", str(tmp_path / "x")], standalone_mode=False)
