"""How the tables keep time, and what they refuse."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy.dialects import sqlite

from archive.catalogue.rows import Base, Instant

DIALECT = sqlite.dialect()


@pytest.mark.parametrize(
    "moment",
    [
        datetime(2026, 3, 18, 22, 30, 15, 40_000, tzinfo=UTC),
        datetime(1969, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC),
        datetime(1970, 1, 1, tzinfo=UTC),
        datetime(9000, 1, 1, tzinfo=UTC),
    ],
)
def test_a_moment_comes_back_to_the_millisecond_and_in_utc(moment: datetime) -> None:
    kept = Instant().process_bind_param(moment.astimezone(timezone(timedelta(hours=5))), DIALECT)
    assert Instant().process_result_value(kept, DIALECT) == moment


def test_moments_are_ordered_as_the_numbers_they_are_kept_as() -> None:
    before = datetime(1969, 12, 31, 23, 59, 59, 999_500, tzinfo=UTC)
    assert Instant().process_bind_param(before, DIALECT) == -1


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="without zone"):
        Instant().process_bind_param(datetime(2026, 3, 18), DIALECT)


def test_nothing_stays_nothing() -> None:
    assert Instant().process_bind_param(None, DIALECT) is None
    assert Instant().process_result_value(None, DIALECT) is None


def test_every_table_has_a_primary_key_so_that_dumps_have_an_order() -> None:
    assert all(len(table.primary_key.columns) for table in Base.metadata.tables.values())
