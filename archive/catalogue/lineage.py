"""Recipes and derivatives as the catalogue knows them: standing versions, origins, what came from what."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import (
    BuildsOnRow,
    DerivativeRow,
    EffectiveRow,
    OriginRow,
    RecipeRow,
    SelectionFrameRow,
    VersionRow,
)
from archive.journal.current import heads
from archive.journal.recipes import MAIN, Standing
from archive.model.capture import Selection
from archive.model.entry import OWN, SHARED, Version
from archive.model.identity import EntryId, FileKey, FrameId, PixelKey
from archive.model.product import Derivative, Origin, Spec
from archive.model.recipe import EffectiveRecipe, Recipe


def versions_of(catalogue: Catalogue, frames: Sequence[str], line: str = MAIN) -> dict[str, list[Version]]:
    """Every version of these frames, own and shared, oldest first."""
    found: dict[str, list[Version]] = {frame: [] for frame in frames}
    with transaction(catalogue.engine) as session:
        for start in range(0, len(frames), 400):
            for version in _versions(session, frames[start : start + 400], line):
                found[version.frame].append(version)
    return found


def _versions(session: Session, frames: Sequence[str], line: str) -> Iterator[Version]:
    builds: dict[tuple[str, str, str], list[str]] = {}
    where = select(BuildsOnRow).where(BuildsOnRow.frame.in_(frames), BuildsOnRow.line == line)
    for edge in session.scalars(where):
        builds.setdefault((edge.frame, edge.layer, edge.entry), []).append(edge.older)
    documents: dict[str, Recipe] = {}
    query = (
        select(VersionRow, RecipeRow.document)
        .join(RecipeRow, RecipeRow.key == VersionRow.recipe)
        .where(VersionRow.frame.in_(frames), VersionRow.line == line)
        .order_by(VersionRow.counter, VersionRow.entry)
    )
    for row, document in session.execute(query):
        if row.recipe not in documents:
            documents[row.recipe] = Recipe.from_json(json.loads(document))
        yield Version(
            entry=EntryId(row.entry),
            counter=row.counter,
            time=row.time,
            person=row.person,
            frame=row.frame,
            layer=row.layer,
            line=row.line,
            recipe=documents[row.recipe],
            in_sequence=row.in_sequence,
            selection=row.selection,
            note=row.note,
            builds_on=tuple(EntryId(e) for e in sorted(builds.get((row.frame, row.layer, row.entry), []))),
        )


def standings(catalogue: Catalogue, frames: Sequence[str], line: str = MAIN) -> dict[str, Standing]:
    """The versions that speak for each of these frames now."""
    known = versions_of(catalogue, frames, line)
    needed = {v.selection for listed in known.values() for v in listed if v.selection and v.recipe.ramps}
    selections = {name: selection_of(catalogue, name) for name in sorted(needed)}
    return {
        frame: Standing(
            frame=frame,
            own=tuple(heads(v for v in listed if v.layer == OWN)),
            shared=tuple(heads(v for v in listed if v.layer == SHARED)),
            selections=selections,
        )
        for frame, listed in known.items()
    }


def selection_of(catalogue: Catalogue, selection: str) -> Selection:
    """A selection by its id; ValueError if no entry lists it."""
    query = select(SelectionFrameRow).where(SelectionFrameRow.selection == selection)
    with transaction(catalogue.engine) as session:
        rows = list(session.scalars(query.order_by(SelectionFrameRow.position)))
    return Selection(
        frames=tuple(FrameId(row.frame) for row in rows),
        milliseconds=tuple(row.milliseconds for row in rows),
    )


def derivatives(
    catalogue: Catalogue,
    *,
    digest: str | None = None,
    frame: str | None = None,
    instance_id: str | None = None,
    document_id: str | None = None,
    file_key: str | None = None,
    path: str | None = None,
) -> list[Derivative]:
    """Derivatives by any of these, oldest first."""
    query = select(DerivativeRow).order_by(DerivativeRow.counter, DerivativeRow.path)
    if digest:
        query = query.where(DerivativeRow.digest == digest)
    if instance_id:
        query = query.where(DerivativeRow.instance_id == instance_id)
    if document_id:
        query = query.where(DerivativeRow.document_id == document_id)
    if file_key:
        query = query.where(DerivativeRow.file_key == file_key)
    if path:
        query = query.where(DerivativeRow.path == path)
    if frame:
        place = (OriginRow.job == DerivativeRow.job, OriginRow.path == DerivativeRow.path)
        query = query.where(select(OriginRow.frame).where(*place, OriginRow.frame == frame).exists())
    with transaction(catalogue.engine) as session:
        return [_derivative(session, row) for row in session.scalars(query)]


def _derivative(session: Session, row: DerivativeRow) -> Derivative:
    origins = session.scalars(
        select(OriginRow)
        .where(OriginRow.job == row.job, OriginRow.path == row.path)
        .order_by(OriginRow.position)
    )
    return Derivative(
        job=row.job,
        path=row.path,
        size=row.size,
        digest=row.digest,
        spec=Spec.from_json(json.loads(row.spec)),
        file_key=FileKey(row.file_key),
        made=row.made,
        document_id=row.document_id,
        instance_id=row.instance_id,
        origins=tuple(
            Origin(
                frame=FrameId(origin.frame),
                versions=tuple(EntryId(e) for e in json.loads(origin.versions)),
                effective=origin.effective,
                pixel_key=PixelKey(origin.pixel_key),
            )
            for origin in origins
        ),
    )


def effectives(catalogue: Catalogue, keys: Sequence[str]) -> dict[str, EffectiveRecipe]:
    """The recorded effective recipes under these keys."""
    found: dict[str, EffectiveRecipe] = {}
    with transaction(catalogue.engine) as session:
        for start in range(0, len(keys), 400):
            rows = session.scalars(
                select(EffectiveRow).where(EffectiveRow.key.in_(keys[start : start + 400]))
            )
            found |= {row.key: EffectiveRecipe.from_json(json.loads(row.document)) for row in rows}
    return found
