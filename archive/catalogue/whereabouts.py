"""Where a camera was when: the site whose frames stand nearest to a time."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import func, select

from archive.catalogue import registers
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import FrameRow, RollRow


def zone_at(catalogue: Catalogue, camera: str, wall: datetime) -> ZoneInfo:
    """The zone that a camera's wall-clock time is meant in: that of the site where it was nearest to then.

    UTC for a camera that was at no site. ``wall`` has no zone of its own.
    """
    query = (
        select(RollRow.site, func.min(FrameRow.taken), func.max(FrameRow.taken))
        .join(FrameRow, FrameRow.roll == RollRow.id)
        .where(FrameRow.camera == camera, RollRow.site.is_not(None))
        .group_by(RollRow.id, RollRow.site)
    )
    with transaction(catalogue.engine) as session:
        places = {site.id: site for site in registers.sites(session)}
        spans = [(places[s], first, last) for s, first, last in session.execute(query) if s in places]
    nearest: tuple[timedelta, str] | None = None
    for site, first, last in spans:
        moment = site.to_utc(wall)
        away = (max(first - moment, moment - last, timedelta(0)), site.zone)
        nearest = away if nearest is None else min(nearest, away)
    return ZoneInfo(nearest[1] if nearest else "UTC")
