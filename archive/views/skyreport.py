"""The sky of nights and frames in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from archive.errors import shown
from archive.model.listing import NightLine, Story
from archive.model.sky import ActivityLine, Darkness, FrameSky, NightSky, SkyReport
from archive.views.report import Report, local


def tell_sky(report: Report, told: SkyReport) -> None:
    """One night: twilights, moon and activity on the site's clock."""
    sky, zone = told.sky, told.zone
    report.say(f"{told.night}  {shown(told.site)}, times in {zone}", "bold")
    rows = [
        (name, _moments(darkness, zone))
        for name, darkness in (
            ("sun below the horizon", sky.sun),
            ("civil night", sky.civil),
            ("nautical night", sky.nautical),
            ("astronomical night", sky.astronomical),
        )
    ]
    rows.append(("sun at its lowest", f"{sky.sun_lowest:.1f}°"))
    rows.append(("moon", moon_in_words(sky, zone)))
    rows.append(("latitude to the magnetic dipole", f"{told.dipole_latitude:.1f}°"))
    if told.activity:
        told_kp = ", ".join(f"{local(a.begins, zone):%H}h {kp_in_words(a)}" for a in told.activity)
        rows.append(("Kp from the hour on", told_kp))
    report.table([("", ""), ("", "")], rows)
    for note in told.notes:
        report.say(note, "yellow")
    report.say("For planning pictures, not for navigation or safety in the field.")


def moon_in_words(sky: NightSky, zone: str | None) -> str:
    """The moon of a night: how much is lit, when it is up."""
    lit = f"{100 * sky.moon_lit:.0f} % lit"
    if sky.moonrise is None and sky.moonset is None:
        return f"{lit}, {'up' if sky.moon_altitude > 0 else 'down'} all night"
    parts = []
    if sky.moonrise is not None:
        parts.append((sky.moonrise, f"rises {_minute(sky.moonrise, zone)}"))
    if sky.moonset is not None:
        parts.append((sky.moonset, f"sets {_minute(sky.moonset, zone)}"))
    return ", ".join([lit, *(text for _, text in sorted(parts))])


def dark_in_words(sky: NightSky, zone: str | None) -> str:
    """When a night is astronomically dark, or that it is not."""
    if sky.astronomical.dusk is not None and sky.astronomical.dawn is not None:
        return f"{_minute(sky.astronomical.dusk, zone)} – {_minute(sky.astronomical.dawn, zone)}"
    return f"never: sun at {sky.sun_lowest:.1f}°" if sky.sun_lowest > -18 else "at all hours"


def night_columns(lines: Sequence[NightLine]) -> list[tuple[str, list[str]]]:
    """Darkness and moon of each night for a listing; nothing where no night has them."""
    if not any(line.sky for line in lines):
        return []
    dark = [dark_in_words(line.sky, line.zone) if line.sky else "–" for line in lines]
    moon = [f"{100 * line.sky.moon_lit:.0f} %" if line.sky else "–" for line in lines]
    return [("dark", dark), ("moon", moon)]


def frame_sky_rows(story: Story) -> list[tuple[str, str]]:
    """What a frame's story says about its sky."""
    rows = []
    if story.sky is not None:
        rows.append(("sky", sky_in_words(story.sky)))
    if story.activity is not None:
        rows.append(("activity", kp_in_words(story.activity)))
    return rows


def sky_in_words(sky: FrameSky) -> str:
    """Light, sun and moon at an instant."""
    moon = f"moon {sky.moon_altitude:+.1f}°, {100 * sky.moon_lit:.0f} % lit"
    return f"{sky.light}, sun {sky.sun_altitude:+.1f}°, {moon}"


def kp_in_words(line: ActivityLine) -> str:
    """Kp as it is written: 4+ for four and a third, 5- for four and two thirds; marked while not final."""
    thirds = round(line.kp * 3)
    whole, part = divmod(thirds + 1, 3)
    sign = ("-", "o", "+")[part]
    return f"Kp {whole}{sign}" + ("" if line.final else " (preliminary)")


def _moments(darkness: Darkness, zone: str) -> str:
    told = []
    if darkness.dusk is not None:
        told.append(f"from {local(darkness.dusk, zone):%H:%M:%S}")
    if darkness.dawn is not None:
        told.append(f"to {local(darkness.dawn, zone):%H:%M:%S}")
    return " ".join(told) if darkness.reason is None else "; ".join([*told, darkness.reason])


def _minute(moment: datetime, zone: str | None) -> str:
    return f"{local(moment, zone):%H:%M}"
