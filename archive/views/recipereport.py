"""Recipes, their history, contests, lines and ramps, in words and tables."""

from __future__ import annotations

from collections.abc import Sequence

from archive.errors import counted, shown
from archive.model.editing import (
    Carried,
    Comparison,
    Contest,
    FinishLine,
    HouseLine,
    LineState,
    Masked,
    Saved,
    Settled,
    Source,
    TakenBack,
)
from archive.model.entry import MAIN, Version
from archive.model.identity import short
from archive.model.listing import HistoryLine, Story
from archive.views.report import Report


def tell_saved(report: Report, saved: Saved) -> None:
    """What a save did, or that it changed nothing."""
    if saved.entry is None:
        report.say("Nothing changed: that is so already.")
        return
    _tell_heading(report, saved)
    for words in saved.words:
        report.say(f"  {words}")
    if saved.in_sequence and not saved.shared:
        report.say("  It counts in sets and movies too; --still-only keeps it out of them.")
    _tell_settled(report, saved.settled)
    _tell_masked(report, saved.masked, saved.masked_stills)


def _tell_heading(report: Report, saved: Saved) -> None:
    frames = counted(saved.frames, "frame")
    if saved.shared:
        whose = f"shared by {frames}"
    else:
        whose = shown(saved.frame.name) if saved.frames == 1 else frames
    if not saved.version:
        report.say(whose, "bold")
        return
    line = "" if saved.line == MAIN else f" on the line {shown(saved.line)}"
    report.say(f"{whose}: version {short(saved.entry or '')}{line}", "bold")


def _tell_settled(report: Report, settled: Sequence[Settled], *, would: bool = False) -> None:
    """Contests that an edit ended: what it went on from, and what stands no more."""
    for each in settled:
        newest, *others = each.versions
        what = f"what {counted(each.frames, 'frame')} shared" if each.shared else "its own recipe"
        gone = ", ".join(_of(version) for version in others)
        report.say(
            f"  {'Would settle' if would else 'Settled'} a contest of {what}: goes on from {_of(newest)}; "
            f"current no more: {gone}.",
            "yellow",
        )
        if not would:
            report.say(
                "    `noctuary recipe history` has them all, `noctuary recipe reinstate` takes another."
            )


def _of(version: Version) -> str:
    who = f" by {shown(version.person)}" if version.person else ""
    return f"{short(version.entry)}{who} of {version.when}"


def _tell_masked(report: Report, masked: Masked, stills: Masked) -> None:
    """Frames that keep their own values, the first dozen of many."""
    told = [f"{shown(frame)} keeps its own {', '.join(names)}" for frame, names in masked]
    told += [f"{shown(frame)} keeps its own {', '.join(names)} (stills only)" for frame, names in stills]
    for text in told[:12]:
        report.say(f"  {text}")
    if len(told) > 12:
        report.say(f"  … and {len(told) - 12} more; --json lists all.")


def tell_sources(report: Report, sources: Sequence[Source], *, why: bool) -> None:
    """A recipe in words; with ``why``, where each value comes from, and what is not applied."""
    applied = [source for source in sources if source.kind != "not applied"]
    if not applied:
        report.say("No recipe: the picture is developed as the camera balanced it, and nothing more.")
    for source in applied:
        report.say(source.words)
        if why:
            report.say(f"    {source.origin}")
            for ramp in source.ramps:
                report.say(f"    {ramp}")
    absent = [source.part for source in sources if source.kind == "not applied"]
    if why and absent:
        report.say(f"not applied: {', '.join(absent)}")


def tell_newer(report: Report, words: Sequence[str], *, asked: bool = False) -> None:
    """What of a recipe is of an older release, and how it is brought to this one."""
    if words:
        report.say(
            f"Of an older release: {'; '.join(words)}. `noctuary recipe renew` takes the newer.", "yellow"
        )
    elif asked:
        report.say("All of it is of this release already.")


def tell_history(report: Report, lines: Sequence[HistoryLine]) -> None:
    """A frame's versions, newest first; * marks those that stand."""
    if not lines:
        report.say("No version yet. `noctuary recipe set` saves the first.")
        return
    for line in lines:
        version = line.version
        mark = "*" if line.current else " "
        report.say(f"{mark} {_heading(version, line.line)}", "bold")
        for words in line.words or ("the same values",):
            report.say(f"      {words}")
        for note in (version.note, line.later_note):
            if note:
                report.say(f"      “{shown(note)}”")
    standing: dict[tuple[str, str], list[HistoryLine]] = {}
    for line in lines:
        if line.current:
            standing.setdefault((line.version.layer, line.line), []).append(line)
    for (_, called), rivals in standing.items():
        if len(rivals) > 1:
            kind = "shared" if rivals[0].version.selection else "own"
            kind += "" if called == MAIN else f" (line {shown(called)})"
            told = ", ".join(_of(line.version) for line in rivals)
            report.say(
                f"Contested: {len(rivals)} {kind} versions claim to be current: {told}. The newest is used; "
                "`noctuary recipe settle FRAME --show` lists them side by side.",
                "yellow",
            )


def _heading(version: Version, called: str = "") -> str:
    """Id, time, person and kind of a version; ``called`` is its line's name, where that is another by now."""
    kind = "shared" if version.selection else "own, in sequences too" if version.in_sequence else "own"
    kind += "" if version.line == MAIN else f", line {shown(called or version.line)}"
    who = f" {shown(version.person)}" if version.person else ""
    return f"{short(version.entry)}  {version.when}{who}  ({kind})"


def tell_carried(report: Report, carried: Carried, *, dry_run: bool) -> None:
    """What carrying did, or would do; and whose own values hide some of it."""
    verb = "would be carried to" if dry_run else "carried to" if carried.entry else "shared already by"
    report.say(f"{', '.join(carried.operators)}: {verb} {counted(carried.frames, 'frame')}.")
    if carried.ramps_kept:
        report.say(f"  goes on ramping: {', '.join(carried.ramps_kept)}")
    if carried.ramps_ended:
        ends = "would end" if dry_run else "ended"
        report.say(f"  {ends} as a ramp: {', '.join(carried.ramps_ended)}; one value from now on", "yellow")
    _tell_settled(report, carried.settled, would=dry_run)
    _tell_masked(report, carried.masked, carried.masked_stills)


def tell_contests(report: Report, contests: Sequence[Contest]) -> None:
    """Versions that both claim to be current, side by side."""
    if not contests:
        report.say("Nothing is contested here: each recipe has one version.")
    for contest in contests:
        what = "their shared recipe" if contest.shared else "its own recipe"
        count = len(contest.frames)
        names = shown(contest.frames[0]) if count == 1 else f"{count} frames from {shown(contest.frames[0])}"
        others = f" and {counted(contest.others, 'other')}" if contest.others else ""
        report.say(f"{names}{others}: {len(contest.versions)} versions claim to be {what}", "bold")
        if contest.stills_only:
            report.say("  In sets and movies nothing is contested: of these at most one was saved for them.")
        for position, version in enumerate(contest.versions):
            used = "  used until it is settled" if position == 0 else ""
            report.say(f"  {_heading(version, contest.line)}{used}")
            if version.note:
                report.say(f"      “{shown(version.note)}”")
        heads = [("operator", ""), *((short(version.entry, 8), "") for version in contest.versions)]
        report.table(heads, [[part, *texts] for part, texts in contest.differences])


def tell_lines(report: Report, states: Sequence[LineState]) -> None:
    """The lines of a frame or a run; * marks the one that speaks."""
    for state in states:
        mark = "*" if state.current else " "
        count = counted(state.versions, "version")
        newest = f", newest {_heading(state.newest, state.name)}" if state.newest else ""
        report.say(f"{mark} {shown(state.name)}  {count}{newest}")


def tell_finish(report: Report, items: Sequence[FinishLine]) -> None:
    """A finish in its order."""
    if not items:
        report.say("No finish. `noctuary recipe finish add` begins one.")
        return
    rows = [
        [str(place), shown(item.id), "on" if item.on else "off", item.words]
        for place, item in enumerate(items, 1)
    ]
    report.table([("place", "right"), ("item", ""), ("", ""), ("step", "")], rows)


def tell_house(report: Report, lines: Sequence[HouseLine]) -> None:
    """The house recipes with what they do."""
    if not lines:
        report.say("No house recipe is kept here yet. `noctuary recipe house add FILE` or `save` keeps one.")
    for line in lines:
        report.say(shown(line.recipe.name), "bold")
        if line.recipe.about:
            report.say(f"  {shown(line.recipe.about)}")
        for words in line.words:
            report.say(f"    {words}")


def tell_comparison(report: Report, found: Comparison) -> None:
    """Two states: their values side by side, and how far their pictures are apart."""
    differing = [row for row in found.rows if row.first != row.second]
    if differing:
        rows = [[row.part, row.first or "–", row.second or "–"] for row in differing]
        report.table([("operator", ""), (found.first, ""), (found.second, "")], rows)
    alike = [row.part for row in found.rows if row.first == row.second]
    if alike:
        report.say(f"alike in both: {', '.join(alike)}")
    report.say(
        f"{shown(found.frame)} at {found.width} × {found.height} pixels: ΔE2000 {found.mean:.2f} on average, "
        f"{found.largest:.1f} at most; {100 * found.changed:.1f} % of the pixels differ by 1 or more "
        f"(about what can be seen), {100 * found.any_changed:.1f} % at all."
    )
    if found.contested:
        report.say(
            "Contested: what stands now is the newest of several versions that claim to be current. "
            "`noctuary recipe settle FRAME --show` lists them.",
            "yellow",
        )
    if found.written:
        report.say(f"Written: {shown(found.written)}")


def text_rows(story: Story) -> list[tuple[str, str]]:
    """A frame's texts for its story, a row each."""
    return [(name, shown(text)) for name, text in story.texts]


def tell_taken_back(report: Report, taken: TakenBack) -> None:
    """What stands after an entry was taken back."""
    if not taken.entries:
        report.say("Nothing changed: what stood before that entry stands already.")
        return
    report.say(f"{short(taken.of)} was taken back, by {short(taken.entries[0])}:", "bold")
    for words in taken.words[:12]:
        report.say(f"    {words}")
    if len(taken.words) > 12:
        report.say(f"    … and {len(taken.words) - 12} more; --json lists all.")
    if taken.overruled:
        overruled = counted(taken.overruled, "later statement was", "later statements were")
        report.say(f"  {overruled} overruled.", "yellow")
