"""The open files of the planetary index Kp: their rows, as the issuing centre publishes them.

Read are the list with one row for each interval (``YYYY MM DD hh.h hh._m days days_m Kp ap D``; the
half-hourly and hourly Hp files have the same columns), and the daily table with eight intervals a row (28
columns).
Source: GFZ, Matzka et al. 2021, doi 10.1029/2020SW002641; data doi 10.5880/Kp.0001, CC BY 4.0.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from archive.errors import DamagedFileError, shown
from archive.model.sky import ActivityLine

_LIST_COLUMNS, _TABLE_COLUMNS = 10, 28
_MOST = 5_000_000
AP = (
    0,
    2,
    3,
    4,
    5,
    6,
    7,
    9,
    12,
    15,
    18,
    22,
    27,
    32,
    39,
    48,
    56,
    67,
    80,
    94,
    111,
    132,
    154,
    179,
    207,
    236,
    300,
    400,
)
"""ap for each third of Kp, 0o to 9o."""


def read_activity(
    data: bytes, name: str, *, days: tuple[datetime, datetime] | None = None
) -> tuple[ActivityLine, ...]:
    """Every interval that has a value, in order of time.

    Parameters
    ----------
    days : look only at rows of days from the first to the last; other rows are not checked.

    Raises
    ------
    DamagedFileError : for a file of another kind, or rows that contradict themselves; it names them.
    """
    faults: list[str] = []
    wanted = None if days is None else (f"{days[0]:%Y %m %d}", f"{days[1]:%Y %m %d}")
    found: dict[datetime, ActivityLine] = {}
    for number, text in enumerate(data.decode("ascii", "replace").splitlines(), 1):
        fields = text.split()
        if not fields or fields[0].startswith("#"):
            continue
        if wanted is not None and not wanted[0] <= " ".join(fields[:3]) <= wanted[1]:
            continue
        try:
            for line in _row(fields):
                found[line.begins] = line
        except (ValueError, OverflowError) as error:
            faults.append(f"line {number}: {error}")
        if len(faults) > 4 or number > _MOST:
            break
    if faults or (not found and days is None):
        raise DamagedFileError(
            f"{shown(name)} is no file of the planetary index that can be read: "
            f"{'; '.join(faults) or 'it holds no interval'}.",
            hint="Nothing was taken in. Fetch it anew: one row for each interval, or one for each day.",
        )
    return tuple(found[begins] for begins in sorted(found))


def _row(fields: list[str]) -> list[ActivityLine]:
    if len(fields) == _LIST_COLUMNS:
        day = _day(fields)
        hour, middle = float(fields[3]), float(fields[4])
        hours = round((middle - hour) * 2, 3)
        if not (0 <= hour < 24 and hours in (0.5, 1.0, 3.0)):
            raise ValueError(f"an interval from {hour:g} h with its middle at {middle:g} h")
        return _interval(day, hour, hours, fields[7], fields[8], fields[9])
    if len(fields) == _TABLE_COLUMNS:
        day = _day(fields)
        return [
            line
            for index in range(8)
            for line in _interval(day, 3.0 * index, 3.0, fields[7 + index], fields[15 + index], fields[27])
        ]
    raise ValueError(f"{len(fields)} columns where {_LIST_COLUMNS} or {_TABLE_COLUMNS} were expected")


def _day(fields: list[str]) -> datetime:
    return datetime(int(fields[0]), int(fields[1]), int(fields[2]), tzinfo=UTC)


def _interval(day: datetime, hour: float, hours: float, kp: str, ap: str, final: str) -> list[ActivityLine]:
    """One interval, or none where the index is missing (−1)."""
    value = float(kp)
    if value < 0:
        return []
    # Kp is open at 9; the hourly and half-hourly indices go on beyond it.
    if value > (9.0 if hours == 3 else 30.0) or abs(value * 3 - round(value * 3)) > 0.01:
        raise ValueError(f"{kp} is no value of the index, which comes in thirds")
    strength = int(ap)
    if hours == 3 and strength >= 0 and AP[round(value * 3)] != strength:
        raise ValueError(f"Kp {kp} has ap {AP[round(value * 3)]}, not {ap}")
    return [
        ActivityLine(
            begins=day + timedelta(hours=hour),
            hours=hours,
            kp=round(value, 3),
            ap=strength if strength >= 0 else None,
            final=int(final) > 0,
        )
    ]
