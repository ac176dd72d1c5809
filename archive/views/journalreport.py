"""The journal and a uniting, told to people."""

from __future__ import annotations

from archive.errors import counted, shown
from archive.model.identity import short
from archive.model.uniting import JournalView, UniteReport
from archive.views.report import Report, size


def journal_told(report: Report, view: JournalView) -> None:
    """The newest entries as a table, then what is odd."""
    report.say(f"{counted(view.entries, 'entry', 'entries')}.")
    if view.lines:
        report.table(
            (
                ("number", "right"),
                ("written (UTC)", "left"),
                ("by", "left"),
                ("id", "left"),
                ("decision", "left"),
            ),
            (
                (
                    str(line.entry.counter),
                    line.entry.time.replace("T", " ").removesuffix("Z"),
                    shown(line.entry.person)[:40],
                    short(line.entry.id, 8),
                    line.about,
                )
                for line in view.lines
            ),
        )
    for fault in view.faults:
        report.say(f"  {fault}", "bold red")
    for told in view.noticed:
        report.say(f"  {told}")
    if view.entries and not view.faults:
        report.say("Every entry is whole, and counts.")


def unite_told(report: Report, united: UniteReport) -> None:
    """What came or would come, what was given, and what is only there."""
    other = shown(united.other)
    kinds = ", ".join(f"{count} {kind}" for kind, count in united.kinds)
    by = f", by {', '.join(shown(person) for person in united.persons)}" if united.persons else ""
    what = counted(united.entries, "entry", "entries") + (f" ({kinds}{by})" if united.entries else "")
    if united.done:
        report.say(f"Taken in from {other}: {what}.")
    else:
        report.say(f"{other} is another archive, begun apart from this one. It would bring {what}.")
    if united.done and united.same_archive:
        report.say(f"Given to it: {counted(united.given, 'entry', 'entries')}.")
    if united.rolls:
        total = sum(roll.size for roll in united.rolls)
        report.say(f"Only there: {counted(len(united.rolls), 'roll')} ({size(total)}):")
        for roll in united.rolls:
            report.say(f"  {shown(roll.folder)}: {counted(roll.files, 'file')}, {size(roll.size)}")
        report.say(
            "Their frames are listed here, and their masters are found while that copy is mounted there."
            if united.same_archive
            else "Their masters stay there: keep that archive. To have one here, copy its folder whole, "
            "with the ascmhl folder in it, to the same place below masters/; `noctuary audit` proves it."
        )
    for fault in united.faults:
        report.say(f"  {fault}", "bold red")
    if not united.done:
        report.say(
            "Nothing was changed. What is taken in stays: to do it, say so with --different. Where both "
            "archives speak about one thing, the entry with the greater number counts."
        )
