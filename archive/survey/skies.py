"""What sky a night and its frames had: sun, moon, and activity where its index was taken in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cached_property

from archive.catalogue.books import Books
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.listing import NightLine
from archive.model.place import Site
from archive.model.sky import ActivityLine, FrameSky, SkyReport
from archive.nights.geomagnetic import dipole_latitude
from archive.nights.light import frame_skies
from archive.nights.sky import night_sky
from archive.survey.activity import Activity


class Skies:
    """Answers about the sky of nights and frames."""

    def __init__(self, books: Books) -> None:
        self._books = books

    @cached_property
    def activity(self) -> Activity:
        return Activity(self._books)

    def told(self, lines: Sequence[NightLine]) -> list[NightLine]:
        """Nights with their sky, where the site is known."""
        sites = {site.id: site for site in self._books.catalogue.sites()}
        return [
            replace(line, sky=night_sky(sites[line.site_id], date.fromisoformat(line.night)))
            if line.site_id in sites
            else line
            for line in lines
        ]

    def night(self, night: str, site: Site | None = None) -> SkyReport:
        """The sky of a night, held or not, over the site given or the one the night was taken at.

        Raises
        ------
        UsageError : for a night that is no date, or where no site is known.
        """
        try:
            evening = date.fromisoformat(night)
            # Sun and moon are computed from theories that are made for our centuries.
            if not 1900 <= evening.year <= 2100:
                raise ValueError
        except ValueError:
            raise UsageError(
                f"{shown(night)} is not a night.", hint="Name it by its evening, like 2026-03-18."
            ) from None
        place = site or self._site_of(evening)
        sky = night_sky(place, evening)
        activity, trouble = self.activity.between(sky.begins, sky.ends)
        return SkyReport(
            night=evening.isoformat(),
            site=place.name,
            zone=place.zone,
            sky=sky,
            dipole_latitude=round(dipole_latitude(place, evening), 2),
            activity=activity,
            notes=tuple(map(str, trouble)),
        )

    def _site_of(self, evening: date) -> Site:
        sites = self._books.catalogue.sites()
        frames = self._books.catalogue.frames(night=evening.isoformat(), limit=1)
        held = self._books.catalogue.sites_of_rolls(frame.roll for frame in frames)
        if held:
            return held[frames[0].roll]
        if len(sites) == 1:
            return sites[0]
        names = ", ".join(shown(site.name) for site in sites) or "none yet; add one with `noctuary site add`"
        raise UsageError(
            f"No site is known for the night of {evening}.",
            hint=f"Name one with --site. Sites here: {names}.",
        )

    def frames(self, frames: Sequence[Frame]) -> dict[str, FrameSky]:
        """The sky of each frame whose site and time are known, by frame id."""
        places = self._books.catalogue.sites_of_rolls(frame.roll for frame in frames)
        by_site: dict[str, list[Frame]] = {}
        for frame in frames:
            if frame.roll in places and frame.time_source not in ("file", "assumed", "doubtful"):
                by_site.setdefault(places[frame.roll].id, []).append(frame)
        found: dict[str, FrameSky] = {}
        for group in by_site.values():
            skies = frame_skies(places[group[0].roll], [frame.taken for frame in group])
            found |= {frame.id: sky for frame, sky in zip(group, skies, strict=True)}
        return found

    def activity_at(self, frame: Frame) -> ActivityLine | None:
        """The interval of the index that a frame was taken in; None where no sound file covers it."""
        # A file that is damaged or missing is told by `sky` and by audits.
        found, _ = self.activity.between(frame.taken, frame.taken + timedelta(milliseconds=1))
        return found[-1] if found else None
