"""Where a camera was when: the site whose frames stand nearest to a time."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import func, select, tuple_

from archive.catalogue import registers
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import FrameRow, NightCameraRow, RollRow


def zone_at(catalogue: Catalogue, camera: str, wall: datetime) -> ZoneInfo:
    """The zone that a camera's wall-clock time is meant in: that of the site where it was nearest to then.

    UTC for a camera that was at no site. ``wall`` has no zone of its own.
    """
    held = NightCameraRow
    plain = select(held.site, held.first, held.last)
    plain = plain.where(held.camera == camera, held.site.is_not(None), held.sites == 1)
    several = select(held.night, held.camera).where(held.camera == camera, held.sites > 1)
    apart = (
        select(RollRow.site, func.min(FrameRow.taken), func.max(FrameRow.taken))
        .join(FrameRow, FrameRow.roll == RollRow.id)
        .where(tuple_(FrameRow.night, FrameRow.camera).in_(several), RollRow.site.is_not(None))
        .group_by(FrameRow.night, RollRow.site)
    )
    with transaction(catalogue.engine) as session:
        places = {site.id: site for site in registers.sites(session)}
        told = [*session.execute(plain), *session.execute(apart)]
        spans = [(places[site], first, last) for site, first, last in told if site in places]
    nearest: tuple[timedelta, str] | None = None
    for site, first, last in spans:
        moment = site.to_utc(wall)
        away = (max(first - moment, moment - last, timedelta(0)), site.zone)
        nearest = away if nearest is None else min(nearest, away)
    return ZoneInfo(nearest[1] if nearest else "UTC")
