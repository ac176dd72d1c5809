"""What became of a card, told to people."""

from __future__ import annotations

from collections.abc import Sequence

from archive.errors import counted, shown
from archive.model.results import ClosingReport, HistoryCheck, IngestReport, RollResult
from archive.views.report import Report, grade, size


def tell_ingest(answer: IngestReport, report: Report) -> None:
    """The sum first, then where it went, then everything that is not as it should be."""
    say = report.say
    say(f"{shown(answer.source)}", "bold")
    if answer.empty:
        say("  There is nothing to take in: the card holds no file that could be copied.")
    elif answer.rolls and not answer.copied and not answer.failed:
        say(f"  All {len(answer.held)} files lie here already; what was interrupted is completed.")
    elif not answer.copied and not answer.failed:
        say(f"  Nothing new: {counted(len(answer.held), 'file is', 'files are')} held already.")
    else:
        say(
            f"  {counted(answer.copied, 'file')} copied ({size(answer.copied_size)}), "
            f"{len(answer.held)} held already, {len(answer.ignored)} ignored, "
            f"{len(answer.failed)} failed."
        )
    _rolls(answer.rolls, report)
    for note in answer.completed:
        say(f"  {note.path} was completed with {note.text}, which another volume holds already.")
    for volume in answer.volumes:
        say(f"  {shown(volume.name)}: every file read back and compared ({grade(volume.grade)}).")
    if answer.sequences:
        say("  Sequences found: " + ", ".join(answer.sequences))
    report.notes("Ignored", answer.ignored)
    report.notes("Remarks", answer.remarks)
    report.notes("Not whole on the card, copied as they are", answer.damaged, "bold red")
    for history in answer.histories:
        say(f"  {history_in_words(history)}")
        report.notes("Not as the card's own hash list says", history.faults, "bold red")
    report.notes("Failed", answer.failed, "bold red")
    if answer.failed:
        say(
            "  What failed is still on the card. Run the same command again; "
            "if it repeats, try another reader."
        )
    for waiting in answer.waiting:
        say(f"  Unfinished: {waiting}.", "yellow")


def tell_closing(answer: ClosingReport, report: Report) -> None:
    """What is safe of the ingests that were ended, and what never came."""
    say = report.say
    if not answer.begun and not answer.waiting:
        say("No ingest is unfinished.")
    for begun in answer.begun:
        say(f"The ingest begun {begun} is closed.", "bold")
    _rolls(answer.rolls, report)
    for note in answer.completed:
        say(f"  {note.path} was completed with {note.text}, which another volume holds already.")
    report.notes("Planned, and missing", answer.failed, "bold red")
    for waiting in answer.waiting:
        say(f"  Unfinished: {waiting}.", "yellow")


def _rolls(rolls: Sequence[RollResult], report: Report) -> None:
    for roll in rolls:
        held = f"{counted(roll.frames, 'frame')}, {counted(roll.files, 'file')}, {size(roll.size)}"
        report.say(f"  masters/{roll.folder}: {held}")


def history_in_words(history: HistoryCheck) -> str:
    """What a card's own hash list was found to say, in a sentence."""
    told = f"The card's own hash list ({history.folder}): {history.verified} files are what it says"
    return told + (f", {history.unlisted} are not in it." if history.unlisted else ".")
