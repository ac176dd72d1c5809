"""The page that explains a volume to a stranger."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

from archive.formats.starthere import start_here
from archive.formats.volume import VolumeMark

MARK = VolumeMark(
    archive="5f0c2a7d9b3e4f1896c7d0a1b2e3f405",
    volume="0a1b2c3d4e5f60718293a4b5c6d7e8f9",
    name="BLUE",
    created="2026-03-19T05:58:31Z",
)


class Tags(HTMLParser):
    """Collects the names of elements and the text between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not any(name in ("src", "href") or name.startswith("on") for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_names_archive_volume_and_every_folder() -> None:
    page = start_here(MARK).decode()
    for word in (MARK.archive, MARK.volume, "BLUE", MARK.created):
        assert word in page
    for folder in ("masters/", "finished/", "journal/", "survey/", "exports/", "incoming/", "FORMATS.md"):
        assert f"<code>{folder}</code>" in page


def test_the_page_needs_nothing_from_elsewhere() -> None:
    page = start_here(MARK).decode()
    assert not re.search("https?:|//|<script|<link|<img", page)
    assert "a" not in Tags(page).tags


def test_a_name_with_markup_is_shown_and_not_obeyed() -> None:
    hostile = '</code><script>alert("x")</script>{archive}'
    tags = Tags(start_here(replace(MARK, name=hostile)).decode())
    assert "script" not in tags.tags
    assert hostile in tags.text
