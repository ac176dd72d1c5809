"""The gallery's pages escape what files are called."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from archive.demo import gallerypage


def _picture(label: str, file: str) -> gallerypage.Picture:
    return gallerypage.Picture(label=label, file=file, width=6, height=4)


SHOT = gallerypage.Shot(
    key="01", title='<b>"x"</b>', note="sample, 6 × 4",
    rows=(
        gallerypage.Row(
            title="Before and after",
            series=(
                gallerypage.Series(pictures=(_picture("b", "01/before.jpg"), _picture("a", "01/a&b.jpg"))),
            ),
        ),
        gallerypage.Row(
            operator="exposure", title="Scale light",
            series=(gallerypage.Series(pictures=(_picture("low: <1>", "01/e 1.jpg"),)),),
        ),
    ),
)  # fmt: skip


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.images: list[str] = []
        self.alts: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        if tag == "img":
            self.images.append(dict(attributes)["src"] or "")
            self.alts.append(dict(attributes)["alt"] or "")
        elif tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def read(page: str) -> _Tags:
    tags = _Tags()
    tags.feed(page)
    assert tags.open == []
    return tags


def test_pages_are_well_formed_and_show_every_picture() -> None:
    assert read(gallerypage.index([SHOT])).images == ["01/a%26b.jpg"]
    assert read(gallerypage.shot_page(SHOT)).images == ["01/before.jpg", "01/a%26b.jpg", "01/e%201.jpg"]


def test_close_looks_are_told_from_whole_frames_and_stand_under_the_name_of_their_place() -> None:
    close = gallerypage.Series(pictures=(_picture("low", "a.png"),), place="stars & sky")
    row = gallerypage.Row(
        operator="x", title="Sharpen", series=(*SHOT.rows[1].series, close), note="Drawn <as> by a lens."
    )
    page = gallerypage.shot_page(replace(SHOT, rows=(row,)))
    assert "Sharpen. Drawn &lt;as&gt; by a lens." in page
    assert page.count('class="row"') == page.count('class="row close"') == 1
    assert page.index("<h3>stars &amp; sky</h3>") < page.index("a.png")
    assert read(page).alts[-1] == "x, low, stars & sky"


def test_every_picture_says_what_it_shows_and_every_operator_can_be_jumped_to() -> None:
    page = gallerypage.shot_page(SHOT)
    assert read(page).alts == ['<b>"x"</b>, b', '<b>"x"</b>, a', "exposure, low: <1>"]
    assert all(read(gallerypage.index([SHOT])).alts)
    assert 'href="#exposure"' in page
    assert 'id="exposure"' in page


@pytest.mark.parametrize("scheme", gallerypage._STYLE.split("@media")[:2], ids=["dark", "light"])
def test_words_are_told_from_the_paper(scheme: str) -> None:
    """WCAG 2.2, 1.4.3 (AA): a contrast of 4.5:1; relative luminance as defined there."""
    colour = dict(re.findall(r"--(\w+): #([0-9a-f]{6})", scheme))

    def luminance(name: str) -> float:
        parts = [int(colour[name][at : at + 2], 16) / 255 for at in (0, 2, 4)]
        red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for name in ("ink", "soft", "link"):
        dark, light = sorted((luminance(name), luminance("paper")))
        assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_names_of_files_are_text_and_nothing_else() -> None:
    for page in (gallerypage.index([SHOT]), gallerypage.shot_page(SHOT)):
        assert "<b>" not in page
        assert "&lt;b&gt;" in page


def test_pages_load_nothing_from_elsewhere() -> None:
    for page in (gallerypage.index([SHOT]), gallerypage.shot_page(SHOT)):
        assert "http" not in page
        assert "<script" not in page
