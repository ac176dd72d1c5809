"""Tables and sentences from result objects, for people."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from rich.console import Console
from rich.text import Text

from archive.errors import counted, shown
from archive.model.capture import CaptureFacts
from archive.model.identity import short
from archive.model.results import (
    AuditReport,
    ExportReport,
    FileNote,
    LineageAnswer,
    RebuildReport,
    StaleLine,
)
from archive.views.tables import Column, Gives, fitted

_MOST_NOTES = 12
_WHOLE = frozenset({"night", "sequence", "file", "id", "taken", "written (UTC)", "spec"})
"""Columns that people copy from: a name broken over two lines cannot be."""


class Report:
    """Writes results to a console."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or Console(highlight=False, soft_wrap=False)

    def say(self, text: str, style: str = "") -> None:
        """A line as it is: no markup is read out of names."""
        self.console.print(Text(text, style=style), soft_wrap=True)

    def table(self, columns: Sequence[Column | tuple[str, str]], rows: Iterable[Sequence[str]]) -> None:
        """A table that fits the console; what had to be left out for that is told below it.

        A column may be given as its head and ``right`` or ``left``: those set to the right, and those with
        names that people copy, stay whole, and the text of others breaks into lines.
        """
        made = fitted([_column(each) for each in columns], rows, self.console.width)
        self.console.print(made, crop=False)
        if made.left_out:
            self.say(f"Left out, for want of room: {', '.join(made.left_out)}.", "dim")

    def notes(self, title: str, notes: Sequence[FileNote], style: str = "") -> None:
        """Files and what there is to say of each, under a title; the first dozen of many."""
        if not notes:
            return
        self.say(f"  {title}:", style)
        for note in notes[:_MOST_NOTES]:
            self.say(f"    {note.path}: {note.text}")
        if len(notes) > _MOST_NOTES:
            self.say(f"    … and {len(notes) - _MOST_NOTES} more; --json lists all.")

    # -- recipes -------------------------------------------------------------------------------

    def recipe(self, rows: Sequence[tuple[str, str]], *, why: bool = False) -> None:
        if not rows:
            self.say("No recipe: the picture is developed as the camera balanced it, and nothing more.")
            return
        if why:
            self.table([("recipe", ""), ("from", "")], rows)
        else:
            self.table([("recipe", "")], [(text,) for text, _ in rows])

    # -- exports -------------------------------------------------------------------------------

    def export(self, report: ExportReport) -> None:
        counts: dict[str, int] = {}
        for file in report.files:
            counts[file.state] = counts.get(file.state, 0) + 1
        told = {
            "made": "made",
            "fresh": "already there",
            "failed": "failed",
            "same": "the same, byte for byte",
            "differs": "different",
        }
        self.say(
            f"{report.spec}: "
            + (", ".join(f"{count} {told[state]}" for state, count in counts.items()) or "nothing to do")
            + "."
        )
        for file in report.files[:3] if len(report.files) > 6 else report.files:
            self.say(
                f"  {shown(file.path)}" + (f"  {file.text}" if file.text and file.state != "failed" else "")
            )
        if len(report.files) > 6:
            self.say(f"  … and {len(report.files) - 3} more beside them")
        self.notes("Lost", report.lost_frames, "bold red")
        lost = {note.text for note in report.lost_frames}
        untold = [file for file in report.files if file.state == "failed" and file.text not in lost]
        self.notes("Failed", [FileNote(path=shown(f.path), text=f.text) for f in untold], "bold red")
        if report.contested:
            have = counted(len(report.contested), "frame has", "frames have")
            self.say(
                f"  {have} two current recipes; the newest was taken. "
                f"`noctuary recipe settle {shown(report.contested[0])} --show` lists both.",
                "yellow",
            )

    def stale(self, lines: Sequence[StaleLine]) -> None:
        if not lines:
            self.say("Every derivative is what the present recipes would make.")
            return
        alike: dict[tuple[str, str, str, tuple[str, ...]], list[str]] = {}
        for line in lines:
            folder, _, name = line.path.rpartition("/")
            alike.setdefault((folder, line.state, line.reason, line.changes), []).append(name)
        for (folder, state, reason, changes), names in alike.items():
            what = f"{folder}/{names[0]}" if len(names) == 1 else f"{folder}/ ({len(names)} files)"
            self.say(f"{state:<10} {shown(what)}  ({reason})")
            for words in changes[:8]:
                self.say(f"             {words}")

    def lineage(self, answer: LineageAnswer) -> None:
        self.say(f"{shown(answer.asked)}: found by {answer.found_by}; {answer.certainty}.", "bold")
        if answer.path:
            self.say(f"  made {answer.made} by spec {answer.spec}, {answer.made_by}, as {shown(answer.path)}")
            self.say(f"  now {answer.state}; engine generation {answer.generation}")
        for position, item in enumerate(answer.inputs):
            if position == 3 and len(answer.inputs) > 4:
                self.say(f"  … and {len(answer.inputs) - 3} frames more; --json lists all")
                break
            self.say(f"  from {item.address or item.name}  {shown(item.name)}  {short(item.frame, 12)}")
            self.say(f"    {shown(item.master)}")
            if item.recipe:
                self.say("    " + "; ".join(item.recipe))
            if item.versions:
                self.say("    versions " + ", ".join(short(version) for version in item.versions))
        for path in answer.outputs[:_MOST_NOTES]:
            self.say(f"  made of it: {shown(path)}")
        if len(answer.outputs) > _MOST_NOTES:
            self.say(f"  … and {len(answer.outputs) - _MOST_NOTES} more; --json lists all")

    # -- custody -------------------------------------------------------------------------------

    def audit(self, report: AuditReport) -> None:
        volumes = ", ".join(shown(name) for name in report.volumes)
        self.say(
            f"{volumes}: {counted(report.files, 'file')} ({size(report.size)}), "
            f"{counted(report.entries, 'journal entry', 'journal entries')} and "
            f"{report.derivatives} derivatives re-read ({grade(report.grade)})."
        )
        if not report.findings:
            self.say("All of them are what was recorded.")
        for finding in report.findings:
            self.say(f"  {shown(finding.volume)}: {shown(finding.path)} {finding.fault}", "bold red")
        if report.findings:
            self.say("Nothing was changed. Take what is damaged or missing from another volume.")

    def rebuild(self, report: RebuildReport) -> None:
        self.say(
            f"The catalogue was made anew: {counted(report.entries, 'entry', 'entries')}, "
            f"{counted(report.rolls, 'roll')}, {counted(report.frames, 'frame')}, "
            f"{counted(report.sequences, 'sequence')}. No master was opened."
        )
        for fault in report.faults:
            self.say(f"  {fault}", "bold red")
        for told in report.noticed:
            self.say(f"  {told}")


def _column(given: Column | tuple[str, str]) -> Column:
    if isinstance(given, Column):
        return given
    head, side = given
    whole = side == "right" or head in _WHOLE
    return Column(head, right=side == "right", gives=Gives.NOTHING if whole else Gives.LINES, least=12)


def size(count: int) -> str:
    """Bytes as people say them."""
    value = float(count)
    for unit in ("bytes", "kB", "MB", "GB"):
        if value < 1000:
            return f"{value:.0f} {unit}" if unit == "bytes" else f"{value:.1f} {unit}"
        value /= 1000
    return f"{value:.2f} TB"


def grade(name: str) -> str:
    """What a read-back grade is worth."""
    return {
        "direct": "from the medium itself",
        "evicted": "from the medium, after the cache was emptied",
        "cached": "perhaps from memory: audit after mounting again",
    }[name]


def minutes(seconds: float) -> str:
    """A span of time: 75 min, or 42 s."""
    return f"{seconds / 60:.1f} min" if seconds >= 120 else f"{seconds:.0f} s"


def local(moment: datetime, zone: str | None) -> datetime:
    """An instant on the wall clock of a zone; UTC where none is known."""
    return moment.astimezone(ZoneInfo(zone) if zone else UTC)


def clock(zone: str | None, moment: datetime) -> str:
    """One instant to the tenth of a second, with its zone's name: 2026-03-18 23:30:15.0 CET."""
    here = local(moment, zone)
    return f"{here:%Y-%m-%d %H:%M:%S}.{here.microsecond // 100_000} {here:%Z}"


def span(first: datetime, last: datetime, zone: str | None) -> str:
    """From and to on the zone's clock: 22:31 – 01:12 CET."""
    return f"{local(first, zone):%H:%M} – {local(last, zone):%H:%M %Z}"


def settings(facts: CaptureFacts) -> str:
    """Exposure, aperture, sensitivity and focal length as photographers write them."""
    parts: list[Any] = []
    if facts.exposure_s:
        exposure = facts.exposure_s
        parts.append(f"{exposure:g} s" if exposure >= 0.3 else f"1/{round(1 / exposure)} s")
    if facts.f_number:
        parts.append(f"f/{facts.f_number:g}")
    if facts.iso:
        parts.append(f"ISO {facts.iso}")
    if facts.focal_mm:
        parts.append(f"{facts.focal_mm:g} mm")
    return " ".join(parts)
