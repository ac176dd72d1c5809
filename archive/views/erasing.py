"""Whether a card may be erased, told to people."""

from __future__ import annotations

from archive.errors import counted, shown
from archive.model.erasing import EraseAnswer
from archive.views.report import Report, size

_MOST = 6
_GRADES = {
    "direct": "read now, around the cache",
    "evicted": "read now, after the cache was emptied of it",
    "cached": "read now, perhaps from memory",
}


def tell_erasing(answer: EraseAnswer, report: Report) -> None:
    """The answer first, then what it rests on, then what is missing, file by file for each reason."""
    name = shown(answer.source)
    devices = f"{answer.wanted} different devices" if answer.wanted > 1 else "one device"
    if answer.may_erase:
        report.say(
            f"Yes: {name} may be erased. All {counted(answer.files, 'file')} ({size(answer.size)}) "
            f"are proven on {devices}.",
            "bold green",
        )
    else:
        short = sum(len(each.files) for each in answer.lacking)
        report.say(
            f"No: keep {name}. {counted(short, 'file is', 'files are')} not proven on {devices}."
            if short
            else f"No: keep {name}. Nothing on it could be judged.",
            "bold red",
        )
    if answer.card_grade is not None:
        report.say(f"  The card: {counted(answer.files, 'file')}, {_GRADES[answer.card_grade]}.")
    for proof in answer.evidence:
        told = "" if proof.declared else ", told by the system"
        report.say(
            f"  {shown(proof.volume)}: {counted(proof.files, 'file')}, {proof.how} "
            f"(device: {proof.device}{told})."
        )
    for lacking in answer.lacking:
        report.say(f"  {len(lacking.files)} × {lacking.reason}:", "red")
        for path in lacking.files[:_MOST]:
            report.say(f"    {path}")
        if len(lacking.files) > _MOST:
            report.say(f"    … and {len(lacking.files) - _MOST} more; --json lists all.")
    if answer.ignored:
        report.say(
            f"  {counted(len(answer.ignored), 'file')} of operating systems and links: not asked about."
        )
    for remark in answer.remarks:
        report.say(f"  {remark}", "yellow")
    report.say(f"  Checked {answer.checked.replace('T', ' ').removesuffix('Z')} UTC. Nothing was erased.")
