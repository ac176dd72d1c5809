"""Reports of ingests that never were, with just what a test is about."""

from __future__ import annotations

from archive.model.results import IngestReport


def ingest_report(**more: object) -> IngestReport:
    """An empty card's report with these fields."""
    values: dict[str, object] = {
        "source": "card", "copied": 0, "copied_size": 0, "held": (), "ignored": (), "failed": (),
        "remarks": (), "rolls": (), "volumes": (),
    }  # fmt: skip
    return IngestReport(**(values | more))  # type: ignore[arg-type]
