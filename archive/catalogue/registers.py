"""Statements read back as model objects: sites, cameras, clocks, ratings."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.rows import StatementRow
from archive.model.capture import Camera, Frame
from archive.model.place import ClockCorrection, Site


def stated(session: Session, subject: str, layer: str, line: str = "") -> Any:
    """The value stated now; None if nothing is."""
    row = session.get(StatementRow, (subject, layer, line))
    return None if row is None else json.loads(row.value)


def written(value: Any) -> str:
    """How a value stands in a row: one text for one value."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def all_stated(session: Session, layer: str) -> dict[tuple[str, str], Any]:
    """Every value of a layer, by (subject, line)."""
    rows = session.scalars(
        select(StatementRow)
        .where(StatementRow.layer == layer)
        .order_by(StatementRow.counter, StatementRow.entry, StatementRow.subject)
    )
    return {(row.subject, row.line): json.loads(row.value) for row in rows}


def site_from_value(site_id: str, value: dict[str, Any]) -> Site:
    return Site(
        id=site_id,
        name=value["name"],
        latitude=value["latitude"],
        longitude=value["longitude"],
        elevation_m=value["elevation_m"],
        zone=value["zone"],
    )


def site_of(session: Session, site_id: str) -> Site | None:
    value = stated(session, site_id, "site")
    return None if value is None else site_from_value(site_id, value)


def sites(session: Session) -> list[Site]:
    return [site_from_value(subject, value) for (subject, _), value in all_stated(session, "site").items()]


def cameras(session: Session) -> dict[str, Camera]:
    """Every body that was ever seen, by id."""
    return {
        subject: Camera(
            id=subject,
            name=value["name"],
            make=value["make"],
            model=value["model"],
            serial=value["serial"],
        )
        for (subject, _), value in all_stated(session, "camera").items()
    }


def address_among(frame: Frame, cameras: Mapping[str, Camera]) -> str | None:
    """How people name a frame of a sequence of one of these cameras; None outside sequences."""
    if frame.sequence is None or frame.index is None:
        return None
    night, camera, number = frame.sequence.split("/")
    known = cameras.get(camera)
    return f"{night}/{known.name if known else camera}/{number}#{frame.index}"


def clocks_of(session: Session, camera: str) -> list[ClockCorrection]:
    """A camera's clock corrections in the order they were stated; those taken back are left out."""
    return [clock_from_value(json.loads(text)) for text in clock_texts(session, camera)]


def clock_texts(session: Session, camera: str) -> list[str]:
    """The same as they stand in their rows."""
    query = (
        select(StatementRow.value)
        .where(StatementRow.subject == camera, StatementRow.layer == "clock", StatementRow.value != "null")
        .order_by(StatementRow.counter, StatementRow.entry)
    )
    return list(session.scalars(query))


def clock_from_value(value: dict[str, Any]) -> ClockCorrection:
    def moment(name: str) -> datetime | None:
        return datetime.fromisoformat(value[name]) if value[name] else None

    return ClockCorrection(
        reads=datetime.fromisoformat(value["reads"]),
        true=datetime.fromisoformat(value["true"]),
        since=moment("from"),
        until=moment("until"),
        drift=float(value["drift"]),
    )
