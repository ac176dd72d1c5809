"""Sites, clocks, ratings, keywords: plain statements, each an entry, and one for each night of its frames."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from archive.catalogue.books import Books
from archive.catalogue.resolve import find
from archive.catalogue.whereabouts import zone_at
from archive.errors import UsageError, shown
from archive.model.capture import Camera, Frame
from archive.model.entry import Change, Draft
from archive.model.place import ClockCorrection, Site


class Statements:
    """What people state about places, cameras and frames."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def add_site(self, name: str, latitude: float, longitude: float, elevation_m: float, zone: str) -> Site:
        """State a site, or correct one that has this name.

        Raises
        ------
        UsageError : for a zone that is no IANA time zone, or a figure out of range.
        """
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise UsageError(
                f"{shown(zone)} is not a time zone.",
                hint="Nothing was changed. Use an IANA name such as Europe/Oslo or America/Anchorage.",
            ) from None
        slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")
        if not slug:
            raise UsageError("A site needs a name with letters or digits.", hint="Nothing was changed.")
        try:
            site = Site(
                id=f"site:{slug}",
                name=name.strip(),
                latitude=latitude,
                longitude=longitude,
                elevation_m=elevation_m,
                zone=zone,
            )
        except ValueError as error:
            raise UsageError(f"{error}.", hint="Nothing was changed.") from error
        value = {
            "name": site.name,
            "latitude": site.latitude,
            "longitude": site.longitude,
            "elevation_m": site.elevation_m,
            "zone": site.zone,
        }
        if self._books.catalogue.stated(site.id, "site") != value:
            self._state("site", [Change(subjects=(site.id,), layer="site", value=value)])
        return site

    def site_named(self, name: str) -> Site:
        """The site with this name or id.

        Raises
        ------
        UsageError : when there is none; it lists those there are.
        """
        sites = self._books.catalogue.sites()
        wanted = name.casefold().strip()
        for site in sites:
            if wanted in (site.name.casefold(), site.id, site.id.removeprefix("site:")):
                return site
        names = ", ".join(shown(site.name) for site in sites) or "none yet"
        raise UsageError(
            f"There is no site called {shown(name)}.",
            hint=f"Nothing was changed. Sites here: {names}. Add one with `noctuary site add`.",
        )

    def camera_named(self, name: str) -> Camera:
        """The camera with this name or id.

        Raises
        ------
        UsageError : when there is none; it lists those there are.
        """
        cameras = self._books.catalogue.cameras().values()
        for camera in cameras:
            if name in (camera.name, camera.id):
                return camera
        names = ", ".join(sorted(camera.name for camera in cameras)) or "none yet"
        raise UsageError(f"No camera is called {shown(name)}.", hint=f"Cameras here: {names}.")

    def set_clock(
        self,
        camera: Camera,
        *,
        reads: str,
        true: str,
        since: str | None = None,
        until: str | None = None,
        drift: float = 0.0,
    ) -> ClockCorrection:
        """State what a photographed clock showed; times without an offset are of the camera's site then.

        Of corrections for one span of readings the last stated counts. Listings and nights are corrected,
        never a picture.

        Raises
        ------
        UsageError : for a time that cannot be read, a correction of more than ten years, or a drift beyond
            belief.
        """
        try:
            correction = ClockCorrection(
                reads=self._moment(camera, reads),
                true=self._moment(camera, true),
                since=self._moment(camera, since) if since else None,
                until=self._moment(camera, until) if until else None,
                drift=drift,
            )
        except ValueError as error:
            raise UsageError(
                f"{error}.",
                hint="Nothing was changed. Check both times; they read like 2026-03-18T21:30:00.",
            ) from error
        value = {
            "reads": correction.reads.isoformat(),
            "true": correction.true.isoformat(),
            "from": correction.since.isoformat() if correction.since else None,
            "until": correction.until.isoformat() if correction.until else None,
            "drift": drift,
        }
        line = _span(correction)
        if self._books.catalogue.stated(camera.id, "clock", line) != value:
            self._state("clock", [Change(subjects=(camera.id,), layer="clock", line=line, value=value)])
        return correction

    def clocks(self, camera: Camera) -> list[ClockCorrection]:
        """A camera's corrections that count, in the order they were stated."""
        return self._books.catalogue.clocks(camera.id)

    def withdraw_clock(
        self, camera: Camera, *, since: str | None = None, until: str | None = None
    ) -> ClockCorrection:
        """Take back the correction of a span of readings, or of all readings.

        Raises
        ------
        UsageError : when there is none of that span; it lists those there are.
        """
        asked = (
            self._moment(camera, since) if since else None,
            self._moment(camera, until) if until else None,
        )
        held = self.clocks(camera)
        found = next((each for each in held if (each.since, each.until) == asked), None)
        if found is None:
            known = "; ".join(_in_words(each) for each in held) or "none"
            raise UsageError(
                f"There is no correction of {camera.name}'s clock for that span.",
                hint=f"Nothing was changed. Corrections that count: {known}.",
            )
        self._state("clock", [Change(subjects=(camera.id,), layer="clock", line=_span(found), value=None)])
        return found

    def _moment(self, camera: Camera, text: str) -> datetime:
        return _moment(text, lambda wall: zone_at(self._books.catalogue, camera.id, wall))

    def rate(self, names: Sequence[str], rating: int) -> list[Frame]:
        """Rate frames: −1 rejected, 0 none, 1 to 5. An equal rating is not stated again.

        Raises
        ------
        UsageError : for a rating out of range, or a name that finds nothing.
        """
        if not -1 <= rating <= 5:
            raise UsageError(
                f"rating: {rating} is outside -1 to 5.",
                hint="Nothing was changed. -1 is rejected, 0 unrated, 5 the best.",
            )
        frames = self._frames(names)
        held = self._books.catalogue.stated_about([frame.id for frame in frames], "rating")
        changed = [frame for frame in frames if held.get((frame.id, ""), 0) != rating]
        for night in sorted({frame.night for frame in changed}):
            subjects = tuple(frame.id for frame in changed if frame.night == night)
            self._state("rating", [Change(subjects=subjects, layer="rating", value=rating)])
        return frames

    def keyword(self, names: Sequence[str], word: str, *, on: bool) -> list[Frame]:
        """Give frames a keyword, or take it off.

        Raises
        ------
        UsageError : for an empty word, or a name that finds nothing.
        """
        word = word.strip()
        if not word or len(word) > 100:
            raise UsageError("A keyword has 1 to 100 characters.", hint="Nothing was changed.")
        frames = self._frames(names)
        held = self._books.catalogue.stated_about([frame.id for frame in frames], "keyword")
        changed = [frame for frame in frames if bool(held.get((frame.id, word))) != on]
        for night in sorted({frame.night for frame in changed}):
            subjects = tuple(frame.id for frame in changed if frame.night == night)
            self._state("keywords", [Change(subjects=subjects, layer="keyword", line=word, value=on)])
        return frames

    def _frames(self, names: Sequence[str]) -> list[Frame]:
        frames: dict[str, Frame] = {}
        for name in names:
            frames |= {frame.id: frame for frame in find(self._books.catalogue, name).frames}
        return list(frames.values())

    def _state(self, kind: str, changes: Sequence[Change]) -> None:
        self._books.state(Draft(kind=kind, changes=tuple(changes)))


def _span(clock: ClockCorrection) -> str:
    """The line that a correction is stated under."""
    ends = (each.isoformat() if each else "" for each in (clock.since, clock.until))
    return "..".join(ends)


def _in_words(clock: ClockCorrection) -> str:
    if clock.since is None and clock.until is None:
        return "for all readings"
    ends = (each.strftime("%Y-%m-%dT%H:%M:%SZ") if each else "…" for each in (clock.since, clock.until))
    return "from {} to {}".format(*ends)


def _moment(text: str, zone: Callable[[datetime], ZoneInfo]) -> datetime:
    try:
        moment = datetime.fromisoformat(text.strip())
        if not 1970 <= moment.year <= 2200:
            raise ValueError
    except ValueError:
        raise UsageError(
            f"{shown(text)} is not a time.",
            hint="Nothing was changed. Write it like 2026-03-18T21:30:00, with +01:00 behind it if need be.",
        ) from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone(moment))).astimezone(UTC)
