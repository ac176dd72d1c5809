"""A page about a card to be printed and signed: every file, its digest, where it lies, what failed.

The page stands alone: no script, no picture, nothing fetched. Names come from cards and are escaped.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

import archive
from archive.errors import UsageError, shown
from archive.model.identity import derived_key
from archive.model.results import FileNote, IngestReport
from archive.views.plain import plain
from archive.views.report import size
from archive.views.taking import history_in_words

_GRADES = {
    "direct": "read back around the cache, from the drive itself",
    "evicted": "read back after the system's cache was emptied of it",
    "cached": "read back, perhaps from memory: no proof of the drive until a later audit",
}
_STYLE = """
@page { size: A4; margin: 16mm 14mm }
* { box-sizing: border-box }
body { font: 10.5pt/1.4 system-ui, sans-serif; color: #111; background: #fff; max-width: 60rem;
  margin: 2rem auto; padding: 0 1rem }
h1 { font-size: 18pt; margin: 0 0 .2em } h2 { font-size: 12.5pt; margin: 1.6em 0 .4em }
section + section { break-before: page; margin-top: 3rem; border-top: 2px solid #111; padding-top: 1.5rem }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .15em 1.2em; margin: .8em 0 }
dt { color: #555 } dd { margin: 0; overflow-wrap: anywhere }
table { border-collapse: collapse; width: 100%; font-size: 8.5pt }
thead { display: table-header-group } tr { break-inside: avoid }
th { text-align: left; border-bottom: 1.5px solid #111; padding: .25em .6em .25em 0 }
td { border-bottom: .5px solid #bbb; padding: .2em .6em .2em 0; vertical-align: top; overflow-wrap: anywhere }
td.n, th.n { text-align: right; white-space: nowrap } code { font: 8pt/1.3 ui-monospace, monospace }
table.files { table-layout: fixed } .files code { white-space: nowrap; font-size: 7.5pt }
.files th:nth-child(1) { width: 5% } .files th:nth-child(3) { width: 10% }
.files th:nth-child(4) { width: 31% } .files th:nth-child(5) { width: 8.5% }
.files th:nth-child(6) { width: 13% }
.sum { font-size: 12.5pt; font-weight: 600; margin: .8em 0 } .bad { color: #a40000 }
.sign { display: grid; grid-template-columns: 1fr 1fr; gap: 2.5em; margin-top: 2.2em; break-inside: avoid }
.sign p { margin: 2.6em 0 0; border-top: 1px solid #111; padding-top: .25em; color: #555; font-size: 9pt }
footer { margin-top: 2em; color: #555; font-size: 8.5pt }
@media print { body { margin: 0; padding: 0; max-width: none } }
"""


@dataclass(frozen=True, kw_only=True)
class Places:
    """Where a report is to be written: as a page, as JSON, or both."""

    page: Path | None
    data: Path | None


def places_for(target: Path, stamp: str) -> Places:
    """Where ``--report`` asks the report to be; asked before anything is copied.

    Raises
    ------
    UsageError : when something is there already, or the folder it is to lie in is not.
    ArchiveError : when it would lie among an archive's own files.
    """
    ending = target.suffix.lower()
    if ending in (".html", ".htm"):
        places = Places(page=target, data=None)
    elif ending == ".json":
        places = Places(page=None, data=target)
    else:
        if target.exists() and not target.is_dir():
            raise UsageError(
                f"{shown(str(target))} is a file.",
                hint="Nothing was copied. Name a page (.html), a document (.json), or a folder for both.",
            )
        stem = f"card-report-{stamp}"
        places = Places(page=target / f"{stem}.html", data=target / f"{stem}.json")
    for path in (places.page, places.data):
        if path is not None and (path.exists() or path.is_symlink()):
            raise UsageError(
                f"{shown(str(path))} is there already; a signed report is not written over.",
                hint="Nothing was copied. Name another file for --report.",
            )
    parent = target.parent
    if not parent.is_dir():
        raise UsageError(
            f"There is no folder {shown(str(parent))}.",
            hint="Nothing was copied. Make it, or name another place for --report.",
        )
    # Not before a report is asked for: the workspace loads databases.
    from archive.workspace import check_outside

    for path in (places.page, places.data):
        if path is not None:
            check_outside(path)
    return places


def write_report(reports: Sequence[IngestReport], places: Places) -> list[Path]:
    """Write the report where it was asked to be; gives the files written. OSError when it cannot be."""
    from archive.workspace import new_target

    written = []
    data = json.dumps(plain(list(reports)), indent=2, ensure_ascii=True) + "\n"
    for path, text in ((places.page, sign_page(reports)), (places.data, data)):
        if path is not None:
            path.parent.mkdir(parents=True, exist_ok=True)
            with new_target(path) as temporary:
                temporary.write_text(text, encoding="utf-8", newline="\n")
            written.append(path)
    return written


def list_digest(report: IngestReport) -> str:
    """One digest over everything a page lists of a card, so that a signature stands for every line."""
    files = [[file.path, file.size, file.digest, file.state] for file in report.files]
    notes = [[[note.path, note.text] for note in notes] for notes in (report.failed, report.ignored)]
    return derived_key("card-report", files, *notes)


def sign_page(reports: Sequence[IngestReport]) -> str:
    """The page as HTML."""
    body = "\n".join(_card(report) for report in reports)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Card report</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _card(report: IngestReport) -> str:
    name = report.card or Path(report.source).name or report.source
    facts = [
        ("Card", report.card or "not labelled"),
        ("Read from", report.source),
        ("Taken in by", report.person or "not named"),
        ("Begun, ended", f"{_moment(report.started)} – {_moment(report.ended)}"),
        *((f"Volume {volume.name}", _GRADES.get(volume.grade, volume.grade)) for volume in report.volumes),
        *(
            (f"Roll {roll.id}", f"masters/{roll.folder}: {roll.files} files, {size(roll.size)}")
            for roll in report.rolls
        ),
        ("Sum of this list", list_digest(report)),
    ]
    parts = [
        "<section>",
        f"<h1>Card report: {_text(name)}</h1>",
        f'<p class="sum{" bad" if report.exit_code else ""}">{_text(_sum(report))}</p>',
        "<dl>" + "".join(f"<dt>{_text(key)}</dt><dd>{_text(value)}</dd>" for key, value in facts) + "</dl>",
        "<p>Every file copied was read once from the card, written, read back from each volume named above "
        "and compared by its XXH3-128 digest. Such digests find accidents, not forgery. "
        "Files held already were recognised by their digest and not copied again.</p>",
        _notes("Failed: still on the card, not in the archive", report.failed),
        _notes("Not whole on the card, copied as they are", report.damaged),
        _notes("Unfinished", [FileNote(path="", text=text) for text in report.waiting]),
        *(
            f"<h2>The card's own hash list</h2><p>{_text(history_in_words(history))}</p>"
            + _notes("Not as the card's own hash list says", history.faults)
            for history in report.histories
        ),
        '<div class="sign">'
        "<div><p>Card taken in by: name, date, signature</p></div>"
        "<div><p>Received or witnessed by: name, date, signature</p></div></div>",
        "<p>A signature here stands for every line below too: the sum above is computed from them.</p>",
        _files(report),
        _notes("Ignored", report.ignored),
        _notes("Remarks", report.remarks),
        "<footer>The sum of this list is the SHA-256 of its canonical JSON (RFC 8785): files, failed, "
        f"ignored. Times are UTC. Written by noctuary {_text(archive.__version__)}.</footer>",
        "</section>",
    ]
    return "\n".join(part for part in parts if part)


def _sum(report: IngestReport) -> str:
    if report.empty:
        return "The card held no file that could be copied."
    whole = len(report.files) + len(report.failed) + len(report.ignored)
    told = (
        f"{whole} files on the card: {report.copied} copied ({size(report.copied_size)}), "
        f"{len(report.held)} held already, {len(report.ignored)} ignored, {len(report.failed)} failed."
    )
    return told if not report.exit_code else f"{told} Something needs attention, see below."


def _files(report: IngestReport) -> str:
    if not report.files:
        return ""
    rows = "".join(
        f'<tr><td class="n">{number}</td><td>{_text(file.path)}</td><td class="n">{file.size}</td>'
        f"<td><code>{_text(file.digest.removeprefix('xxh128:'))}</code></td><td>{_text(file.state)}</td>"
        f"<td>{_text(', '.join(file.volumes) or '–')}</td></tr>\n"
        for number, file in enumerate(report.files, 1)
    )
    return (
        f'<h2>Files ({len(report.files)})</h2>\n<table class="files"><thead><tr>'
        '<th class="n">#</th><th>On the card</th><th class="n">Bytes</th><th>XXH3-128</th><th>State</th>'
        f"<th>On volumes</th></tr></thead>\n<tbody>\n{rows}</tbody></table>"
    )


def _notes(title: str, notes: Iterable[FileNote]) -> str:
    listed = list(notes)
    if not listed:
        return ""
    rows = "".join(f"<tr><td>{_text(note.path)}</td><td>{_text(note.text)}</td></tr>\n" for note in listed)
    return (
        f"<h2>{_text(title)} ({len(listed)})</h2>\n<table><thead><tr><th>File</th><th>What is to be said</th>"
        f"</tr></thead>\n<tbody>\n{rows}</tbody></table>"
    )


def _moment(text: str) -> str:
    return text[:19].replace("T", " ") or "unknown"


def _text(value: str) -> str:
    return escape(shown(value), quote=True)
