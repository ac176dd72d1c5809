"""Clock corrections, and what was found out about clocks, in words."""

from __future__ import annotations

from archive.errors import counted, shown
from archive.model.clocks import ELSEWHERE_S, ClockCheck, PairCheck, SunSpan, Sureness
from archive.model.place import ClockCorrection
from archive.views.report import Report, minutes


def correction_in_words(clock: ClockCorrection, *, off: bool = False) -> str:
    """What a correction adds, to which readings, and how it grows; ``off`` tells of one taken back."""
    seconds = (clock.true - clock.reads).total_seconds()
    told = f"{seconds:+.1f} s are {'no longer ' if off else ''}added to what its clock reads"
    if clock.since is not None:
        told += f" from {clock.since:%Y-%m-%d %H:%M:%S} UTC on"
    if clock.until is not None:
        told += f" up to {clock.until:%Y-%m-%d %H:%M:%S} UTC"
    if clock.drift:
        gains = "gains" if clock.drift > 0 else "loses"
        told += f"; it {gains} {abs(clock.drift):g} s a day, counted from {clock.reads:%Y-%m-%d %H:%M:%S} UTC"
    return told + "."


def tell_clock_check(report: Report, told: ClockCheck) -> None:
    """What the cameras say of each other, what the sun says of each, and what to type."""
    if told.unseen:
        report.say(
            f"{counted(told.unseen, 'frame is', 'frames are')} not surveyed, and do not count here.", "yellow"
        )
    for pair in told.pairs:
        report.say(pair_in_words(pair))
    for check in told.suns:
        report.say(f"{shown(check.camera)} by the sun: {sun_in_words(check.span)}.")
    if not told.suggestions:
        known = [*(pair.shift.sureness for pair in told.pairs), *(check.span.sureness for check in told.suns)]
        nothing = all(each == Sureness.UNTOLD for each in known)
        report.say(
            "Nothing can be told of the clocks of this night; photograph a right clock beside each camera."
            if nothing
            else "Nothing that was found asks for a correction."
        )
        return
    report.say(
        "Nothing was changed."
        + (" Follow only one of these, for the clock that is wrong:" if told.either else "")
    )
    for each in told.suggestions:
        report.say(f"  {each.command}")
        give = "" if each.error is None else f", ± {each.error:.0f} s,"
        report.say(f"    adds {each.seconds:+d} s{give} to {shown(each.camera)}; {each.why}")
    if any(each.error is not None for each in told.suggestions):
        report.say(
            f"Cameras that look elsewhere see one sky up to {ELSEWHERE_S:.0f} s apart: for an exact "
            "correction, photograph a right clock."
        )
    report.say("A correction counts for all readings of its camera, unless --from and --until bound it.")


def pair_in_words(pair: PairCheck) -> str:
    """How far two cameras' clocks are apart, give or take, and how sure that is."""
    shift = pair.shift
    both = f"{shown(pair.first)} and {shown(pair.second)}"
    if shift.seconds is None or shift.error is None:
        return f"{both}: {shift.sureness}: {shift.reason}."
    order = "behind" if shift.seconds > 0 else "ahead of"
    told = (
        f"{both}: {shown(pair.second)} is {abs(shift.seconds):.0f} s {order} {shown(pair.first)}, "
        f"± {shift.error:.0f} s, {shift.sureness} (their skies fit by {shift.fit:.2f})"
    )
    return f"{told}." if pair.apart else f"{told}: no more than looking elsewhere may explain."


def sun_in_words(span: SunSpan) -> str:
    """Whether a clock agrees with the sun, and within which span."""
    if span.sureness == Sureness.UNTOLD or span.low is None or span.high is None:
        return f"{span.sureness}: {span.reason}"
    bounds = f"{_signed(span.low)} to {_signed(span.high)}"
    if span.right:
        return f"right, as far as dusk and dawn tell; {bounds} would fit too"
    return f"{span.sureness} to be wrong; it fits with {bounds} added"


def _signed(seconds: float) -> str:
    return f"{'−' if seconds < 0 else '+'}{minutes(abs(seconds))}"
