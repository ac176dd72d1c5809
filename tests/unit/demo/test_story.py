"""The story's scenes name what the scenes before them found."""

from pathlib import Path

import pytest
from support import mhl_reference

from archive.demo import story
from archive.demo.cards import write_cards
from archive.views.cli.app import app


@pytest.mark.slow
def test_the_story_plays_and_leaves_its_pictures_and_a_sound_archive(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    night = write_cards(tmp_path / "cards", size=(96, 64), frames=12)
    titles = []
    for scene in story.tell(tmp_path, night):
        titles.append(scene.title)
        for command in scene.commands():
            app(command, standalone_mode=False)
        scene.after()
    told = capsys.readouterr().out
    assert len(titles) == len(set(titles)) >= 10
    assert {path.name for path in (tmp_path / "pictures").iterdir()} >= {
        "before-and-after.jpg",
        "still.jpg",
        "movie.mp4",
    }
    assert "All of them are what was recorded." in told
    assert "found by its bytes" in told
    assert "+72.0 s are added" in told
    assert "The catalogue was made anew" in told
    rolls = sorted((tmp_path / "archive" / "masters").glob("*/*"))
    # The reference implementation of ASC MHL, in an environment of its own.
    assert [mhl_reference.verify_folder(roll) for roll in rolls] == [mhl_reference.CLEAN] * 2
