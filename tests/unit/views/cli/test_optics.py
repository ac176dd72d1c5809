"""Commands about dark frames and lenses, inside one process."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.cards import archive_in, site_of
from support.rawcard import fall_off, glow, level, raw_card

from archive.views.cli.app import app


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("optics")
    card = raw_card(folder / "card", [level(0.1 + glow()), level(glow(), 1), level(0.5 * fall_off(), 2)])
    with archive_in(folder / "archive") as workspace:
        workspace.ingest.take([card], site=site_of(workspace))
    yield folder / "archive"


@pytest.fixture
def typed(
    root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., str]:
    def run(*words: str) -> str:
        monkeypatch.chdir(root)
        app(list(words), standalone_mode=False)
        return capsys.readouterr().out

    return run


def test_dark_frames_are_set_and_told(typed: Callable[..., str]) -> None:
    assert "dark_frame" in typed("darks", "NOCT0001.DNG", "NOCT0002.DNG")
    saved = json.loads(typed("darks", "NOCT0001.DNG", "NOCT0002.DNG", "--json"))
    assert saved["entry"] is None


def test_dark_frames_are_looked_for_shown_and_used(typed: Callable[..., str]) -> None:
    assert "not looked at" in typed("darks", "NOCT0001.DNG", "--find")
    typed("survey")
    assert "NOCT0002.DNG" in typed("darks", "NOCT0001.DNG", "--find")
    answer = json.loads(typed("darks", "NOCT0003.DNG", "--find", "--take", "--json"))
    assert [each["path"].rpartition("/")[2] for each in answer["found"]["frames"]] == ["NOCT0002.DNG"]
    assert answer["saved"]["entry"]
    assert "dark_frame" in typed("recipe", "show", "NOCT0003.DNG")


@pytest.mark.parametrize("words", [(), ("NOCT0002.DNG", "--find"), ("NOCT0002.DNG", "--take")])
def test_dark_frames_are_named_or_looked_for(typed: Callable[..., str], words: tuple[str, ...]) -> None:
    from archive.errors import UsageError

    with pytest.raises(UsageError, match="Name the dark frames, or let them be looked for"):
        typed("darks", "NOCT0001.DNG", *words)


def test_a_lens_is_looked_for_and_an_invented_one_is_not_known(typed: Callable[..., str]) -> None:
    assert "Invented 20mm" in typed("lens", "match", "NOCT0001.DNG")
    answer = json.loads(typed("lens", "match", "NOCT0001.DNG", "--json"))
    assert answer["chosen"] is None
    assert answer["offered"] == []


def test_a_fall_off_is_measured_and_written_into_a_recipe(typed: Callable[..., str]) -> None:
    assert "of the middle's light" in typed("lens", "measure", "NOCT0003.DNG", "--into", "NOCT0001.DNG")
    assert "fall_off" in typed("recipe", "show", "NOCT0001.DNG")
    assert json.loads(typed("lens", "measure", "NOCT0003.DNG", "--json"))["measure"]["frames"] == 1


def test_a_lens_that_was_not_taken_is_not_applied(typed: Callable[..., str]) -> None:
    from archive.errors import UsageError

    with pytest.raises(UsageError, match="No lens is on record"):
        typed("lens", "apply", "NOCT0001.DNG")
