"""A page about a card, to be signed."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from support.cards import archive_in, put, site_of, tiny_card
from support.reports import ingest_report

from archive.errors import UsageError
from archive.model.results import FileNote, IngestReport, TakenFile
from archive.store.digest import digest_at
from archive.views.signing import list_digest, places_for, sign_page, write_report


class Outline(HTMLParser):
    """Every tag in order, the text of cells by row, and whether tags are closed as they were opened."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.rows: list[list[str]] = []
        self.attributes: list[tuple[str, str | None]] = []
        self._open: list[str] = []
        self.feed(page)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in ("meta", "br"):
            self._open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if {"td", "th"} & set(self._open):
            self.rows[-1][-1] += data


def taken(folder: Path) -> tuple[IngestReport, Path]:
    card = tiny_card(folder / "card", 3)
    put(card, "a <b>&'\"\n\x1b[31m.txt", b"strange")
    put(card, b"\xff\xfe.bin", b"no text")
    put(card, "DCIM/EMPTY.JPG", b"")
    put(card, ".DS_Store", b"litter")
    with archive_in(folder / "a") as workspace:
        (report,) = workspace.ingest.take([card], site=site_of(workspace), card="A<07>")
    return report, card


def test_the_page_lists_every_file_with_its_digest_state_and_volume(tmp_path: Path) -> None:
    report, card = taken(tmp_path)
    page = Outline(sign_page([report]))
    digests = {row[3]: row for row in page.rows if len(row) == 6}
    for path in card.rglob("*"):
        if path.is_file() and path.stat().st_size and path.name != ".DS_Store":
            row = digests[digest_at(path).removeprefix("xxh128:")]
            assert row[2:] == [str(path.stat().st_size), row[3], "copied", "BLUE"]
    assert len(digests) == 5 + 1
    assert ["DCIM/EMPTY.JPG", "empty: 0 bytes, the camera never finished it"] in page.rows
    assert [".DS_Store", "macOS folder settings"] in page.rows


def test_the_page_says_who_when_and_how_and_has_a_place_to_sign(tmp_path: Path) -> None:
    report, card = taken(tmp_path)
    text = sign_page([report])
    for part in (
        "Card report: A&lt;07&gt;",
        "<dd>Ingrid</dd>",
        f"<dd>{card}</dd>",
        "<dt>Volume BLUE</dt><dd>read back ",
        "7 files on the card: 5 copied",
        "1 failed. Something needs attention, see below.",
        "name, date, signature",
        list_digest(report),
    ):
        assert part in text
    (begun,) = re.findall(r"<dd>(\d{4}-\d\d-\d\d \d\d:\d\d:\d\d) – ", text)
    assert begun == report.started[:19].replace("T", " ")


def test_names_from_the_card_are_text_and_nothing_is_fetched_or_run(tmp_path: Path) -> None:
    report, _ = taken(tmp_path)
    text = sign_page([report])
    page = Outline(text)
    assert "a &lt;b&gt;&amp;&#x27;&quot;\\x0a\\x1b[31m.txt" in text
    assert "\\xff\\xfe.bin" in text
    assert "\x1b" not in text
    assert not {"script", "img", "link", "iframe", "b", "object"} & set(page.tags)
    assert {name for name, _ in page.attributes} <= {"charset", "content", "name", "lang", "class"}
    assert "url(" not in text and "@import" not in text and "http" not in text


def test_a_report_of_nothing_says_so() -> None:
    text = sign_page([ingest_report(source="/media/CARD")])
    assert "The card held no file that could be copied." in text
    assert "not named" in text and "not labelled" in text


def test_the_sum_changes_with_every_line_of_the_list() -> None:
    file = TakenFile(path="a", size=1, digest="xxh128:" + 32 * "0", state="copied", kept="x/a")
    base = ingest_report(files=(file,))
    others = [
        ingest_report(),
        ingest_report(files=(file, file)),
        ingest_report(files=(TakenFile(path="b", size=1, digest=file.digest, state="copied", kept="x/a"),)),
        ingest_report(files=(file,), failed=(FileNote(path="c", text="d"),)),
        ingest_report(files=(file,), ignored=(FileNote(path="c", text="d"),)),
    ]
    assert len({list_digest(report) for report in (base, *others)}) == 6
    assert list_digest(base) == list_digest(ingest_report(files=(file,), source="elsewhere"))


@pytest.mark.parametrize(
    "target, names",
    [
        ("page.html", {"page.html"}),
        ("data.JSON", {"data.JSON"}),
        ("out", {"out/card-report-S.html", "out/card-report-S.json"}),
    ],
)
def test_the_ending_decides_what_is_written(tmp_path: Path, target: str, names: set[str]) -> None:
    written = write_report([ingest_report()], places_for(tmp_path / target, "S"))
    assert {str(path.relative_to(tmp_path)) for path in written} == names
    for path in written:
        if path.suffix.lower() == ".json":
            assert json.loads(path.read_text())[0]["source"] == "card"
        else:
            Outline(path.read_text())


def test_a_report_is_never_written_over_and_never_into_nowhere(tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text("signed")
    (tmp_path / "plain").write_text("a file")
    (tmp_path / "link.html").symlink_to(tmp_path / "nowhere")
    for name, why in (
        ("a.html", "there already"),
        ("plain", "is a file"),
        ("link.html", "there already"),
        ("missing/a.html", "no folder"),
        ("missing/deep/out", "no folder"),
    ):
        with pytest.raises(UsageError, match=why) as caught:
            places_for(tmp_path / name, "S")
        assert "Nothing was copied" in caught.value.hint
    assert (tmp_path / "a.html").read_text() == "signed"


def test_several_cards_are_sections_of_one_page() -> None:
    page = Outline(sign_page([ingest_report(source="one"), ingest_report(source="two")]))
    assert page.tags.count("section") == 2
