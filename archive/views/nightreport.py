"""Nights, sequences and frames as tables, and one frame's whole story."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from archive.errors import counted, shown
from archive.model.entry import MAIN
from archive.model.identity import short
from archive.model.listing import Course, FoundFrames, FrameLine, HistoryLine, NightLine, SequenceLine, Story
from archive.views.report import Report, clock, local, minutes, settings, span
from archive.views.sparkline import sparkline
from archive.views.tables import Column, Gives

_SOURCES = {
    "offset": "its recorded offset",
    "site": "the site's time zone",
    "doubtful": "the site's time zone, in an hour when its clocks were changed",
    "assumed": "no zone known: taken as UTC",
    "file": "the file's own time: the camera recorded none",
}
_MOST_VERSIONS = 5
_WIDE = 120
"""From so many columns on there is room for long curves."""


def tell_nights(
    report: Report, lines: Sequence[NightLine], more: Sequence[tuple[str, Sequence[str]]] = ()
) -> None:
    """Nights, a row each; ``more`` are further columns with their heads."""
    if not lines:
        report.say("No night is held here yet. Take a card in with `noctuary ingest FOLDER`.")
        return
    columns = [
        Column("night"),
        Column("site", gives=Gives.ENDS, least=10),
        Column("cameras", gives=Gives.ENDS, least=12),
        Column("frames", right=True),
        Column("sequences", right=True, spare=3),
        Column("from – to", spare=2),
        *(Column(head, spare=1 if head == "moon" else 0) for head, _ in more),
    ]
    rows = [
        [
            line.night,
            shown(line.site or "–"),
            ", ".join(shown(camera) for camera in line.cameras),
            f"{line.frames}{_mark(line.contested)}",
            str(line.sequences),
            span(line.first, line.last, line.zone),
            *(cells[index] for _, cells in more),
        ]
        for index, line in enumerate(lines)
    ]
    report.table(columns, rows)
    _tell_contested(
        report, sum(line.contested for line in lines), [line.night for line in lines if line.contested]
    )


def _mark(contested: int) -> str:
    return "!" if contested else ""


def _tell_contested(report: Report, count: int, where: Sequence[str]) -> None:
    """How many frames have a recipe that two versions claim, where the first of them are, and what to do."""
    if count:
        some = ", ".join([*map(shown, where[:3]), *(["…"] if len(where) > 3 else [])])
        report.say(
            f"! {counted(count, 'frame has', 'frames have')} more than one current recipe, in {some}: "
            f"`noctuary recipe settle {shown(where[0])} --show`.",
            "yellow",
        )


def tell_sequences(report: Report, lines: Sequence[SequenceLine], night: str | None = None) -> None:
    """Sequences, a row each, with how brightness ran in those that were surveyed; all, or of a night."""
    if not lines:
        of = f" of {shown(night)}" if night else ""
        report.say(f"No sequence{of} is held here yet: five frames at a steady cadence make one.")
        return
    bars = 40 if report.console.width >= _WIDE else 10
    columns = [
        (Column("sequence"), [line.address for line in lines]),
        (Column("frames", right=True), [f"{line.frames}{_mark(line.contested)}" for line in lines]),
        (Column("missed", right=True), [str(line.missed) for line in lines]),
        (Column("cadence", right=True, spare=1), [f"{line.cadence_s:.1f} s" for line in lines]),
        (Column("spans", right=True), [minutes(line.span_s) for line in lines]),
        (Column("at 25/s", right=True, spare=3), [f"{line.plays_s():.1f} s" for line in lines]),
        (Column("begins", spare=2), [f"{local(line.first, line.zone):%H:%M:%S %Z}" for line in lines]),
    ]
    if any(line.course for line in lines):
        curves = [sparkline(line.course.parts, bars) if line.course else "" for line in lines]
        columns.append((Column("brightness"), curves))
    if any(line.title for line in lines):
        columns.append((Column("title", gives=Gives.ENDS, least=10), [shown(line.title) for line in lines]))
    report.table([column for column, _ in columns], list(zip(*(cells for _, cells in columns), strict=True)))
    _tell_contested(
        report, sum(line.contested for line in lines), [line.address for line in lines if line.contested]
    )


def tell_frames(report: Report, lines: Sequence[FrameLine]) -> None:
    """Frames by sequence, a row each."""
    columns = [
        Column("#", right=True),
        Column("file"),
        Column("taken"),
        Column("settings", gives=Gives.ENDS, least=16),
        Column("rated", right=True),
        Column("recipes", right=True, spare=1),
        Column("id"),
    ]
    groups: dict[str, list[list[str]]] = {}
    for line in lines:
        group, _, position = (line.address or "").partition("#")
        uncertain = "?" if line.frame.time_source in ("file", "assumed", "doubtful") else ""
        contested = "!" if line.contested else ""
        row = [
            position,
            shown(line.frame.name),
            f"{local(line.frame.taken, line.zone):%H:%M:%S}{uncertain}",
            settings(line.frame.facts),
            str(line.rating) if line.rating else "",
            f"{line.versions or ''}{contested}",
            short(line.frame.id, 8),
        ]
        groups.setdefault(group or f"{line.frame.night}/{line.camera}, single frames", []).append(row)
    for group, rows in groups.items():
        report.say(shown(group), "bold")
        report.table(columns, rows)
    if any(line.contested for line in lines):
        report.say("! two versions claim to be current: `noctuary recipe settle FRAME --show`.", "yellow")


def tell_found(report: Report, found: FoundFrames) -> None:
    """What a query found: the first frames, and how many there are."""
    tell_frames(report, found.frames)
    left = found.count - len(found.frames)
    if found.more:
        report.say(f"{len(found.frames)} of {found.count} frames or more; --limit lists more.")
    elif left > 0:
        report.say(f"{len(found.frames)} of {found.count} frames; --limit lists more.")
    else:
        report.say(f"{counted(found.count, 'frame')}.")


def tell_queries(report: Report, kept: Mapping[str, str]) -> None:
    """Questions that are kept, by name."""
    if not kept:
        report.say("No query is kept yet: `noctuary find QUERY --keep NAME`.")
        return
    columns = [Column("name"), Column("asks", gives=Gives.LINES, least=20)]
    report.table(columns, [[shown(name), shown(query)] for name, query in kept.items()])


def tell_story(report: Report, story: Story, more: Sequence[tuple[str, str]] = ()) -> None:
    """One frame with its whole story; ``more`` are further facts, told after its settings."""
    line, frame, facts = story.line, story.line.frame, story.line.frame.facts
    report.say(f"{line.address or frame.night}  {shown(frame.name)}", "bold")
    camera = " ".join(part for part in (facts.make, facts.model) if part)
    bars = 60 if report.console.width >= _WIDE else 40
    rows = [
        ("taken", f"{clock(line.zone, frame.taken)}, by {_SOURCES[frame.time_source]}"),
        ("camera", f"{shown(line.camera)}  {shown(camera)}".strip()),
        ("lens", shown(facts.lens or "–")),
        ("settings", settings(facts) or "–"),
        *more,
        *(course_rows(story.course, bars) if story.course else ()),
        ("rating", str(line.rating) if line.rating else "none"),
        ("keywords", ", ".join(shown(word) for word in line.keywords) or "none"),
        ("id", frame.id),
        *(("copy", f"{shown(name)}: masters/{shown(copy.path)}") for name, copy in story.copies),
        *(("beside it", f"{shown(path)} ({role})") for path, role in story.companions),
        *_version_rows(story.versions),
        *(("made", f"{made.made[:10]}  {made.spec.name}  {shown(made.path)}") for made in story.made),
    ]
    report.table([Column(""), Column("", gives=Gives.LINES, least=24)], rows)
    report.recipe(story.recipe)
    if line.contested:
        report.say("Contested: the newest version is shown; `noctuary recipe settle` chooses.", "yellow")


def course_rows(course: Course, bars: int) -> list[tuple[str, str]]:
    """How bright its sequence was, and below the curve where in it a frame stands."""
    curve = sparkline(course.parts, bars)
    told = f"{course.low:+.1f} to {course.high:+.1f} stops".replace("-", "−")
    rows = [("brightness", f"{curve}  {told}")]
    if course.at is not None:
        place = course.at * len(curve) // len(course.parts)
        here = "not surveyed" if course.stops is None else f"{course.stops:+.1f}".replace("-", "−")
        rows.append(("", f"{'·' * place}▲{'·' * (len(curve) - place - 1)}  {here}"))
    return rows


def _version_rows(versions: Sequence[HistoryLine]) -> list[tuple[str, str]]:
    """A frame's newest versions, a row each; * marks those that stand."""
    rows = []
    for each in versions[:_MOST_VERSIONS]:
        version = each.version
        kind = "shared" if version.selection else "own"
        kind += "" if version.line == MAIN else f", line {shown(each.line)}"
        who = f"  {shown(version.person)}" if version.person else ""
        note = f"  “{shown(version.note)}”" if version.note else ""
        mark = "*" if each.current else " "
        rows.append(("version", f"{mark} {short(version.entry)}  {version.when}{who}  ({kind}){note}"))
    left = len(versions) - _MOST_VERSIONS
    if left > 0:
        rows.append(("", f"… and {left} older; `noctuary recipe history` lists all"))
    return rows
