"""The gallery's pages escape what files are called."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser

from archive.demo import gallerypage

SHOT = gallerypage.Shot(
    key="01", title='<b>"x"</b>', note="sample, 6 × 4", before="01/before.jpg", after="01/a&b.jpg",
    rows=(gallerypage.Row(name="exposure", title="Scale light", pictures=(("low: <1>", "01/e 1.jpg"),)),),
)  # fmt: skip


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.images: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        if tag == "img":
            self.images.append(dict(attributes)["src"] or "")
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


def test_a_row_says_what_its_pictures_were_made_of_and_shows_exact_ones_pixel_by_pixel() -> None:
    row = gallerypage.Row(
        name="x", title="Sharpen", pictures=(("low", "a.jpg"),), note="Drawn <as> by a lens.", exact=True
    )
    page = gallerypage.shot_page(replace(SHOT, rows=(row,)))
    assert "Sharpen. Drawn &lt;as&gt; by a lens." in page
    assert page.count('class="row exact"') == 1


def test_names_of_files_are_text_and_nothing_else() -> None:
    for page in (gallerypage.index([SHOT]), gallerypage.shot_page(SHOT)):
        assert "<b>" not in page
        assert "&lt;b&gt;" in page


def test_pages_load_nothing_from_elsewhere() -> None:
    for page in (gallerypage.index([SHOT]), gallerypage.shot_page(SHOT)):
        assert "http" not in page
        assert "<script" not in page
