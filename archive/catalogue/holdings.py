"""What volumes hold, asked for many files at once: as their own hash lists said when last seen."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import func, select

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import HoldingRow
from archive.model.listing import Copy


def copies_of(catalogue: Catalogue, digests: Iterable[str]) -> dict[str, list[Copy]]:
    """Every copy of these bytes on any volume, by digest; digests that nobody holds are left out."""
    found: dict[str, list[Copy]] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(sorted(set(digests))):
            query = select(HoldingRow).where(HoldingRow.digest.in_(chunk))
            query = query.order_by(HoldingRow.volume, HoldingRow.folder, HoldingRow.path)
            for row in session.scalars(query):
                copy = Copy(volume=row.volume, path=f"{row.folder}/{row.path}")
                found.setdefault(row.digest, []).append(copy)
    return found


def held_count(catalogue: Catalogue, volume: str, folder: str) -> int:
    """How many files a volume's hash lists name in one roll."""
    query = select(func.count()).select_from(HoldingRow)
    query = query.where(HoldingRow.volume == volume, HoldingRow.folder == folder)
    with transaction(catalogue.engine) as session:
        return session.scalar(query) or 0
