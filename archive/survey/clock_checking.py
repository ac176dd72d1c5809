"""Cameras' clocks of one night against each other and against the sun, from what was surveyed."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import combinations

from archive.catalogue.books import Books
from archive.catalogue.resolve import find
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.clocks import (
    ClockCheck,
    ClockSuggestion,
    CurvePoint,
    PairCheck,
    SunCheck,
    SunSpan,
    Sureness,
    as_clocks,
)
from archive.model.place import ClockCorrection, Site
from archive.nights.capture_time import TimeSource, capture_time
from archive.nights.clock_check import clock_shift
from archive.nights.sun_clock import sun_span
from archive.survey.courses import gain_stops
from archive.survey.records import seen_of


@dataclass(frozen=True, kw_only=True)
class _Body:
    """One camera of the night: its curve, a frame from its middle, and the corrections that count for it."""

    name: str
    frame: Frame
    points: tuple[CurvePoint, ...]
    exact: bool
    site: Site | None
    clocks: tuple[ClockCorrection, ...]


def check_clocks(books: Books, night: str) -> ClockCheck:
    """What the brightness of a night's frames says of its cameras' clocks; nothing is stated.

    Raises
    ------
    UsageError : when there is no such night, or nothing of it was surveyed.
    """
    frames = find(books.catalogue, night).frames
    seen = seen_of(books, frames)
    if not seen:
        raise UsageError(
            f"Nothing of {shown(night)} was surveyed yet.",
            hint=f"Nothing was changed. Run `noctuary survey {shown(night)}` first.",
        )
    brightness = {frame: each.surveyed.measures.brightness for frame, each in seen.items()}
    bodies = _bodies(books, [frame for frame in frames if frame.id in brightness], brightness)
    suns = tuple(SunCheck(camera=body.name, span=_against_sun(body)) for body in bodies)
    pairs = tuple(
        PairCheck(first=a.name, second=b.name, shift=as_clocks(clock_shift(a.points, b.points)))
        for a, b in combinations(bodies, 2)
    )
    suggestions, either = _suggested(bodies, suns, pairs)
    return ClockCheck(
        night=night,
        pairs=pairs,
        suns=suns,
        suggestions=suggestions,
        either=either,
        unseen=len(frames) - len(brightness),
    )


def _bodies(books: Books, frames: Sequence[Frame], brightness: Mapping[str, float]) -> list[_Body]:
    """The cameras of these frames by name; frames without a time or an exposure of their own do not count."""
    cameras = books.catalogue.cameras()
    sites = books.catalogue.sites_of_rolls(frame.roll for frame in frames)
    groups: dict[str, list[Frame]] = {}
    for frame in frames:
        if frame.time_source != TimeSource.FILE and frame.facts.exposure_s:
            groups.setdefault(frame.camera, []).append(frame)
    bodies = []
    for camera, group in groups.items():
        middle = group[len(group) // 2]
        bodies.append(
            _Body(
                name=cameras[camera].name if camera in cameras else camera,
                frame=middle,
                points=tuple(
                    CurvePoint(
                        at=frame.taken.timestamp() + (frame.facts.exposure_s or 0.0) / 2,
                        stops=brightness[frame.id] - gain_stops(frame.facts),
                    )
                    for frame in group
                ),
                exact=all(frame.facts.iso and frame.facts.f_number for frame in group),
                site=sites.get(middle.roll),
                clocks=tuple(books.catalogue.clocks(camera)),
            )
        )
    return sorted(bodies, key=lambda body: body.name)


def _against_sun(body: _Body) -> SunSpan:
    if body.site is None:
        return SunSpan(sureness=Sureness.UNTOLD, reason="its site is not known")
    return sun_span(body.points, body.site, exact=body.exact)


def _suggested(
    bodies: Sequence[_Body], suns: Sequence[SunCheck], pairs: Sequence[PairCheck]
) -> tuple[tuple[ClockSuggestion, ...], bool]:
    """What to correct, and whether only one of two may be: nothing tells then which clock is wrong."""
    spans = {check.camera: check.span for check in suns}
    late = {name for name, span in spans.items() if span.sureness != Sureness.UNTOLD and not span.right}
    apart = [pair for pair in pairs if pair.apart]
    # A clock is trusted that was photographed, that the sun bears out, or that agrees with another camera's.
    trusted = {body.name for body in bodies if body.clocks} | {
        name for name, span in spans.items() if span.sureness != Sureness.UNTOLD and span.right
    }
    for pair in pairs:
        if pair.shift.seconds is not None and not pair.apart:
            trusted |= {pair.first, pair.second}
    trusted -= late
    told: dict[str, ClockSuggestion] = {}
    either = False
    for pair in apart:
        seconds = pair.shift.seconds or 0.0
        wrong = _wrong(pair, trusted, late)
        either = either or len(wrong) > 1
        for name in wrong:
            added = seconds if name == pair.second else -seconds
            other = pair.first if name == pair.second else pair.second
            why = f"then its sky changes with {other}'s: {pair.shift.sureness}"
            if name not in told and _allowed(spans[name], added):
                told[name] = _suggestion(_named(bodies, name), round(added), why, pair.shift.error)
    for name in sorted(late - set(told)):
        added = _whole_hours(spans[name])
        why = f"then its dusk or dawn is the sun's: {spans[name].sureness}"
        told[name] = _suggestion(_named(bodies, name), added, why)
    return tuple(told[name] for name in sorted(told)), either and len(told) > 1


def _wrong(pair: PairCheck, trusted: set[str], late: set[str]) -> list[str]:
    """Which of two cameras that disagree is to be corrected; both where nothing tells."""
    both = [pair.second, pair.first]
    by_sun = [name for name in both if name in late]
    if len(by_sun) == 1:
        return by_sun
    doubted = [name for name in both if name not in trusted]
    return doubted if len(doubted) == 1 else both


def _allowed(span: SunSpan, seconds: float) -> bool:
    """Whether the sun lets a camera's times be moved so far."""
    if span.low is None or span.high is None or span.open:
        return True
    return span.low <= seconds <= span.high


def _whole_hours(span: SunSpan) -> int:
    """The shift that the sun asks for: whole hours where some fit, as clocks are set wrong by those."""
    low, high, best = span.low or 0.0, span.high or 0.0, span.best or 0.0
    hours = [hour * 3600 for hour in range(-14, 15) if hour and low <= hour * 3600 <= high]
    return min(hours, key=lambda hour: abs(hour - best)) if hours else round(best)


def _named(bodies: Sequence[_Body], name: str) -> _Body:
    return next(body for body in bodies if body.name == name)


def _suggestion(body: _Body, seconds: int, why: str, error: float | None = None) -> ClockSuggestion:
    """The command that adds so many seconds to what is listed now, in place of the correction that counts."""
    frame = body.frame
    reading = capture_time(frame.facts, frame.taken, body.site).moment
    words = ["noctuary", "clock", body.name]
    words += ["--reads", _typed(reading, body.site)]
    words += ["--true", _typed(frame.taken + timedelta(seconds=seconds), body.site)]
    counts = [clock for clock in body.clocks if clock.covers(reading)]
    if counts:
        last = counts[-1]
        for option, moment in (("--from", last.since), ("--until", last.until)):
            words += [option, moment.isoformat()] if moment else []
        words += ["--drift", f"{last.drift:g}"] if last.drift else []
    return ClockSuggestion(camera=body.name, seconds=seconds, command=shlex.join(words), why=why, error=error)


def _typed(moment: datetime, site: Site | None) -> str:
    return (site.to_local(moment) if site else moment).isoformat(timespec="seconds")
