"""Recipes and derivatives as the catalogue knows them: standing versions, origins, what came from what."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import (
    BuildsOnRow,
    ContestRow,
    DerivativeRow,
    EffectiveRow,
    OriginRow,
    RecipeRow,
    SelectionFrameRow,
    VersionRow,
)
from archive.catalogue.standing_for import companions_of, stand_for
from archive.journal.current import heads
from archive.journal.recipes import Standing
from archive.model.capture import Frame, Selection
from archive.model.entry import LINE, MAIN, OWN, SHARED, Version
from archive.model.identity import EntryId, FileKey, FrameId, PixelKey
from archive.model.product import WRITTEN, Derivative, Origin, Spec, Texts
from archive.model.recipe import EffectiveRecipe, Recipe


def versions_of(catalogue: Catalogue, frames: Sequence[str], line: str = MAIN) -> dict[str, list[Version]]:
    """Every version of these frames, own and shared, oldest first."""
    found: dict[str, list[Version]] = {frame: [] for frame in frames}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(frames, 400):
            pairs = companions_of(session, chunk)
            # A version keeps the digest that it was stated about: selections and ramps know no other.
            for version in _versions(session, [*chunk, *pairs], line):
                found[pairs.get(version.frame, version.frame)].append(version)
            for frame in set(pairs.values()):
                found[frame] = _once(found[frame], frame)
    return found


def _once(versions: Sequence[Version], frame: str) -> list[Version]:
    """An entry that speaks of a frame and of its companion too is one version, told of the frame itself."""
    held: dict[tuple[str, str], Version] = {}
    for version in versions:
        if version.frame == frame or (version.entry, version.layer) not in held:
            held[version.entry, version.layer] = version
    return list(held.values())


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


def standings(catalogue: Catalogue, frames: Sequence[str], line: str | None = None) -> dict[str, Standing]:
    """What speaks for each of these frames now, with all that an effective recipe is made of."""
    known = bare_standings(catalogue, frames, line)
    # One entry may give parts of a run versions of their own.
    speaking = {(v.entry, v.selection): v for each in known.values() for v in each.shared}.values()
    needed = {v.selection for v in speaking if v.selection}
    needed |= {ramp.along for v in speaking for ramp in v.recipe.ramps if ramp.along}
    selections = {name: selection_of(catalogue, name) for name in sorted(needed)}
    return {frame: replace(each, selections=selections) for frame, each in known.items()}


def bare_standings(
    catalogue: Catalogue, frames: Sequence[str], line: str | None = None
) -> dict[str, Standing]:
    """The versions that speak for each of these frames now, on its current line unless one is named.

    Their selections are left out: listings tell how many versions there are, and load no runs for it.
    What a line does not say, own or shared, the main line says. A companion's digest is answered with the
    standing of the frame that it stands for.
    """
    stands = _stands(catalogue, frames)
    if stands:
        of_frames = bare_standings(catalogue, list(dict.fromkeys(stands.get(f, f) for f in frames)), line)
        return {frame: of_frames[stands.get(frame, frame)] for frame in frames}
    chosen = dict.fromkeys(frames, line or MAIN)
    if line is None:
        chosen |= {frame: name for (frame, _), name in catalogue.stated_about(frames, LINE).items()}
    known = {frame: _heads(listed) for frame, listed in versions_of(catalogue, frames).items()}
    aside: dict[str, list[str]] = {}
    for frame, name in chosen.items():
        if name != MAIN:
            aside.setdefault(name, []).append(frame)
    for name, members in aside.items():
        for frame, listed in versions_of(catalogue, members, name).items():
            known[frame] |= {layer: found for layer, found in _heads(listed).items() if found}
    return {
        frame: Standing(
            frame=frame,
            own=tuple(layers[OWN]),
            shared=tuple(layers[SHARED]),
            selections={},
            line=chosen[frame],
        )
        for frame, layers in known.items()
    }


def _stands(catalogue: Catalogue, frames: Sequence[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(frames, 400):
            found |= stand_for(session, chunk)
    return found


def _heads(listed: Sequence[Version]) -> dict[str, list[Version]]:
    return {layer: heads(v for v in listed if v.layer == layer) for layer in (OWN, SHARED)}


def lines_of(catalogue: Catalogue, frames: Sequence[str]) -> list[str]:
    """The names under which lines of these frames were started, the main line first."""
    found: set[str] = set()
    with transaction(catalogue.engine) as session:
        for chunk in chunks(frames, 400):
            query = select(VersionRow.line).where(VersionRow.frame.in_(chunk))
            found.update(session.scalars(query.distinct()))
    return [MAIN, *sorted(found - {MAIN})]


def contested_frames(catalogue: Catalogue) -> list[Frame]:
    """The frames that are contested on the line that speaks for them, in the order of their ids."""
    with transaction(catalogue.engine) as session:
        said = sorted(set(session.scalars(select(ContestRow.frame))))
    # What was said of frames that are not held waits for them.
    known = catalogue.frames_by_id(said)
    standing = bare_standings(catalogue, sorted(known))
    return [frame for key, frame in sorted(known.items()) if standing[key].contested]


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
        texts=_written(json.loads(row.texts) if row.texts else {}),
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


def _written(texts: Mapping[str, str]) -> Texts:
    return tuple((name, texts[name]) for name in WRITTEN if name in texts)


def effectives(catalogue: Catalogue, keys: Sequence[str]) -> dict[str, EffectiveRecipe]:
    """The recorded effective recipes under these keys."""
    found: dict[str, EffectiveRecipe] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(keys, 400):
            rows = session.scalars(select(EffectiveRow).where(EffectiveRow.key.in_(chunk)))
            found |= {row.key: EffectiveRecipe.from_json(json.loads(row.document)) for row in rows}
    return found
