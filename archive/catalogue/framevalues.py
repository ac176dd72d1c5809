"""Rows of frames: their time, night, sky and settings, from what their files and people say; pure."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from archive.catalogue.inserting import Stored
from archive.catalogue.registers import clock_from_value, site_from_value
from archive.catalogue.rows import milliseconds
from archive.model.capture import CaptureFacts
from archive.model.place import night_of
from archive.nights.altitudes import Altitudes
from archive.nights.capture_time import TimeSource, night_longitude, reading_time

Said = Mapping[str, dict[str, Any]]
"""Corrected facts, by digest."""
Master = tuple[str, str, str, str, str | None]
"""A master's digest, path, role, time of its last change, and facts as JSON."""
Place = tuple[tuple[str, str] | None, tuple[str, ...]]
"""A roll's site, by id and value, and its camera's clock corrections as they were stated: values as JSON."""


def frame_rows(place: Place, roll: str, camera: str, files: Iterable[Master], said: Said) -> list[Stored]:
    """The rows of a roll's frames, in no sequence and without marks, in the order of their columns."""
    return _teller(place).rows(roll, camera, files, said)


def marked(row: Stored, marks: Iterable[Any]) -> Stored:
    """A frame's row with its rating, and whether it was developed and exported."""
    return (*row[:15], *marks, *row[18:])


@lru_cache(maxsize=16)
def _teller(place: Place) -> _Teller:
    return _Teller(*place)


class _Teller:
    """Tells the frames of one place and its clocks; remembers the sky between them."""

    def __init__(self, site: tuple[str, str] | None, clocks: Sequence[str]) -> None:
        self._site = None if site is None else site_from_value(site[0], json.loads(site[1]))
        self._clocks = [clock_from_value(json.loads(clock)) for clock in clocks]
        self._sky = None if self._site is None else Altitudes(self._site)

    def rows(self, roll: str, camera: str, files: Iterable[Master], said: Said) -> list[Stored]:
        found = []
        for digest, path, role, modified, facts in files:
            read: dict[str, Any] = json.loads(facts) if facts else {}
            corrected = said.get(digest)
            if corrected:
                read = CaptureFacts.from_json(read | corrected).to_json()
            taken = read.get
            told = reading_time(taken("taken"), offset := taken("offset"), self._site, self._clocks)
            if told is None:
                told = datetime.fromisoformat(modified).astimezone(UTC), TimeSource.FILE
            moment, source = told
            sun = moon = None
            if self._sky is not None and source.certain:
                sun, moon = self._sky.at(moment)
                sun, moon = round(sun, 3), round(moon, 3)
            night = night_of(moment, night_longitude(offset, self._site)).isoformat()
            row = (
                *(digest, camera, roll, path, path.rpartition("/")[2], role),
                *(milliseconds(moment), source.value, night, None, None),
                *(taken("exposure_s"), taken("f_number"), taken("iso"), taken("focal_mm")),
                *(0, False, False, sun, moon),
                json.dumps(read, ensure_ascii=False) if corrected else None,
            )
            found.append(row)
        return found
