"""The keogram of a surveyed sequence."""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("keogram"), frames=12)
    made.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    yield made
    made.workspace.close()


def test_a_plain_keogram_holds_each_frames_middle_column(place: Studio) -> None:
    made = place.workspace.survey.keogram(SEQUENCE, plain=True)
    picture = np.asarray(Image.open(io.BytesIO(made.data)))
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    assert (picture.shape[1], made.steps, made.gaps) == (12, 12, 0)
    for at, preview in enumerate(place.workspace.survey.previews(SEQUENCE)):
        # The preview went through JPEG, the column did not.
        assert np.abs(picture[:, at].astype(int) - preview[:, preview.shape[1] // 2].astype(int)).mean() < 6
    assert len(frames) == 12


def test_frames_that_are_not_there_are_gaps(place: Studio) -> None:
    part = place.workspace.survey.keogram(f"{SEQUENCE}#3..9", plain=True)
    assert (part.steps, part.gaps) == (7, 0)
    seen = place.workspace.survey.surveyed(SEQUENCE)[1]
    folder = place.root / seen[0][1].folder / "slices"
    (slices,) = folder.iterdir()
    kept = slices.read_bytes()
    slices.chmod(0o600)
    slices.write_bytes(b"")
    assert place.workspace.survey.keogram(SEQUENCE).gaps == 12
    slices.write_bytes(kept)
    assert place.workspace.survey.keogram(SEQUENCE).gaps == 0


def test_what_was_not_surveyed_has_no_keogram(tmp_path_factory: pytest.TempPathFactory) -> None:
    other = studio(tmp_path_factory.mktemp("none"))
    with pytest.raises(UsageError, match="was surveyed yet"):
        other.workspace.survey.keogram(SEQUENCE)
    with pytest.raises(UsageError, match="was surveyed yet"):
        other.workspace.survey.suggest(SEQUENCE)
    other.workspace.close()
