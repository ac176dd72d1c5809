"""The row of one frame: its time, night, sky and settings, from what its file and people say."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from archive.catalogue.registers import clocks_of, site_of
from archive.model.capture import CaptureFacts
from archive.model.place import ClockCorrection, Site
from archive.nights.altitudes import Altitudes
from archive.nights.capture_time import CaptureTime, capture_time


class FrameValues:
    """Tells rows, and remembers sites, clocks and skies between them."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._sites: dict[str, Site | None] = {}
        self._skies: dict[str, Altitudes] = {}
        self._clocks: dict[str, list[ClockCorrection]] = {}

    def row(self, file: Any, corrected: dict[str, Any] | None) -> dict[str, Any]:
        """A frame in no sequence and without marks; ``file`` has the columns of its file and its roll."""
        read: dict[str, Any] = json.loads(file.facts) if file.facts else {}
        if corrected:
            read = CaptureFacts.from_json(read | corrected).to_json()
        facts = CaptureFacts(taken=read.get("taken"), offset=read.get("offset"))
        site = self._site(file.site)
        time = capture_time(facts, datetime.fromisoformat(file.modified), site, self._clocks_of(file.camera))
        sun, moon = self._sky(site, time)
        return {
            "id": file.digest,
            "camera": file.camera,
            "roll": file.roll,
            "path": file.path,
            "name": file.path.rpartition("/")[2],
            "role": file.role,
            "taken": time.moment,
            "time_source": str(time.source),
            "night": time.night.isoformat(),
            "sequence": None,
            "position": None,
            "exposure_s": read.get("exposure_s"),
            "f_number": read.get("f_number"),
            "iso": read.get("iso"),
            "focal_mm": read.get("focal_mm"),
            "rating": 0,
            "developed": False,
            "exported": False,
            "sun": sun,
            "moon": moon,
            "facts": json.dumps(read, ensure_ascii=False) if corrected else None,
        }

    def _site(self, site: str | None) -> Site | None:
        if site is None:
            return None
        if site not in self._sites:
            self._sites[site] = site_of(self._session, site)
        return self._sites[site]

    def _clocks_of(self, camera: str) -> Sequence[ClockCorrection]:
        if camera not in self._clocks:
            self._clocks[camera] = clocks_of(self._session, camera)
        return self._clocks[camera]

    def _sky(self, site: Site | None, time: CaptureTime) -> tuple[float | None, float | None]:
        if site is None or not time.source.certain:
            return None, None
        if site.id not in self._skies:
            self._skies[site.id] = Altitudes(site)
        sun, moon = self._skies[site.id].at(time.moment)
        return round(sun, 3), round(moon, 3)
