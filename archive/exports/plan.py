"""What an export would make: for each file its inputs, effective recipes, keys and path."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from archive.catalogue.books import Books
from archive.catalogue.levelling import levels_of
from archive.catalogue.lineage import standings
from archive.catalogue.pairs import frames_as_made
from archive.errors import ArchiveError, UsageError, counted, shown
from archive.exports.levelling import levelled
from archive.exports.specs import ENDINGS
from archive.exports.texts import alike, texts_of
from archive.journal.recipes import Standing, effective, speaking_versions
from archive.model.capture import Frame
from archive.model.identity import EntryId, FileKey, PixelKey, canonical, derived_key, sha256_id
from archive.model.listing import SequenceLine
from archive.model.product import Derivative, Spec, Texts, file_key, pixel_key
from archive.model.recipe import EffectiveRecipe, Foundation
from archive.model.survey import Level

EXPORTS = "exports"
_NAMES = uuid.UUID("6c9d2f0a-94b5-5f4e-8d0f-2b1f6f1f7a11")


@dataclass(frozen=True, kw_only=True)
class Development:
    """One frame with the effective recipe it is developed with, and the key of the resulting pixels.

    ``texts`` are what is to be written into a file of it.
    """

    frame: Frame
    effective: EffectiveRecipe
    effective_key: str
    versions: tuple[EntryId, ...]
    pixel_key: PixelKey
    texts: Texts = ()


@dataclass(frozen=True, kw_only=True)
class PlannedFile:
    """One file to be; ``path`` below the volume carries the start of its key, so versions never collide."""

    path: str
    spec: Spec
    inputs: tuple[Development, ...]
    file_key: FileKey

    @property
    def texts(self) -> Texts:
        """What is written into it about its frames."""
        return alike(item.texts for item in self.inputs)

    @property
    def document_id(self) -> str:
        """The same picture in the same form, whatever its version."""
        frames = [item.frame.id for item in self.inputs]
        return f"urn:uuid:{uuid.uuid5(_NAMES, derived_key('document', self.spec.name, frames))}"

    def instance_id(self, job: str) -> str:
        """This very file, as this job made it."""
        return f"urn:uuid:{uuid.uuid5(_NAMES, derived_key('instance', job, self.file_key))}"


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All files of one export; ``contested`` are frames with two versions that are current in this use."""

    spec: Spec
    files: tuple[PlannedFile, ...]
    contested: tuple[str, ...]

    @property
    def key(self) -> str:
        return derived_key("plan", self.spec.to_json(), [[f.path, f.file_key] for f in self.files])


def develop(
    frame: Frame, recipe: EffectiveRecipe, versions: Sequence[EntryId], spec: Spec, texts: Texts = ()
) -> Development:
    """A frame under one effective recipe, with its keys."""
    document = recipe.to_json()
    return Development(
        frame=frame,
        effective=recipe,
        effective_key=sha256_id(canonical(document)),
        versions=tuple(versions),
        pixel_key=pixel_key(
            [frame.id, *recipe.other_frames()],
            document,
            recipe.lens_digest(),
            spec.pixels,
            recipe.foundation.generation,
        ),
        texts=texts,
    )


def present_development(
    frame: Frame,
    standing: Standing,
    spec: Spec,
    foundation: Foundation,
    level: Level | None = None,
    texts: Texts = (),
) -> Development:
    """A frame under the versions that speak for it now; its level counts in sets and movies only."""
    in_sequence = spec.product != "still"
    recipe = effective(standing, in_sequence=in_sequence, foundation=foundation)
    versions = speaking_versions(standing, in_sequence=in_sequence)
    if in_sequence and level is not None and level.stops != 0:
        recipe, versions = levelled(recipe, level), (*versions, level.entry)
    return develop(frame, recipe, versions, spec, texts)


def file_key_of(inputs: Sequence[Development], spec: Spec) -> FileKey:
    """The key of the file that these inputs make."""
    return file_key([item.pixel_key for item in inputs], spec, alike(item.texts for item in inputs))


def make_plan(
    books: Books,
    frames: Sequence[Frame],
    sequence: SequenceLine | None,
    spec: Spec,
    foundation: Foundation,
    *,
    strict: bool = False,
) -> Plan:
    """What exporting these frames by this spec makes now.

    Raises
    ------
    UsageError : when a set or movie is asked of a single frame that belongs to no sequence.
    ArchiveError : for a contested recipe under ``strict``.
    """
    if spec.product != "still" and len(frames) < 2:
        raise UsageError(
            f"{spec.name} is made of a sequence, not of a single frame.",
            hint="Name a sequence as NIGHT/CAMERA/NUMBER, or use a still spec such as still-web.",
        )
    if spec.product != "still" and len({frame.camera for frame in frames}) > 1:
        raise UsageError(
            f"{spec.name} is made of one camera's frames, and these are of several.",
            hint="Nothing was made. Name a sequence, NIGHT/CAMERA/NUMBER, or one camera, NIGHT/CAMERA.",
        )
    standing = standings(books.catalogue, [frame.id for frame in frames])
    in_sequence = spec.product != "still"
    contested = tuple(
        frame.name for frame in frames if standing[frame.id].contested_for(in_sequence=in_sequence)
    )
    if contested and strict:
        have = f"{counted(len(contested), 'frame has', 'frames have')} recipes that both claim to be current"
        raise ArchiveError(
            f"{have}, first {shown(contested[0])}.",
            hint="Nothing was made. `noctuary recipe settle FRAME --show` lists both versions.",
        )
    levels = levels_of(books.catalogue, [frame.id for frame in frames]) if spec.product != "still" else {}
    texts = texts_of(books.catalogue, [frame.id for frame in frames])
    developed = [
        present_development(f, standing[f.id], spec, foundation, levels.get(f.id), texts[f.id])
        for f in frames
    ]
    cameras = {key: camera.name for key, camera in books.catalogue.cameras().items()}
    return Plan(spec=spec, files=tuple(_files(developed, sequence, spec, cameras)), contested=contested)


def _files(
    developed: Sequence[Development],
    sequence: SequenceLine | None,
    spec: Spec,
    cameras: Mapping[str, str],
) -> list[PlannedFile]:
    ending = ENDINGS[spec.container]
    first = developed[0].frame
    if spec.product == "still":
        files = []
        for item in developed:
            key = file_key_of([item], spec)
            folder = f"{EXPORTS}/{item.frame.night}/{cameras.get(item.frame.camera, 'unknown')}"
            name = f"{_stem(item.frame)}-{spec.name}-{_short(key)}.{ending}"
            files.append(PlannedFile(path=f"{folder}/{name}", spec=spec, inputs=(item,), file_key=key))
        return files
    if sequence is not None:
        folder = f"{EXPORTS}/{sequence.night}/{sequence.camera}-{sequence.number}"
    else:
        folder = f"{EXPORTS}/{first.night}/{cameras.get(first.camera, 'unknown')}"
    if spec.product == "movie":
        key = file_key_of(developed, spec)
        path = _movie_path(folder, spec, key)
        return [PlannedFile(path=path, spec=spec, inputs=tuple(developed), file_key=key)]
    keys = [file_key_of([item], spec) for item in developed]
    whole = f"{folder}/{spec.name}-{_short(derived_key('set', keys))}"
    digits = max(4, len(str(len(developed))))
    return [
        PlannedFile(
            path=f"{whole}/{position:0{digits}d}-{_stem(item.frame)}.{ending}",
            spec=spec,
            inputs=(item,),
            file_key=key,
        )
        for position, (item, key) in enumerate(zip(developed, keys, strict=True), 1)
    ]


def without(file: PlannedFile, lost: Collection[str]) -> PlannedFile:
    """A movie made of fewer frames than planned: another file, with its own key and path."""
    if not lost:
        return file
    inputs = tuple(item for item in file.inputs if item.frame.id not in lost)
    key = file_key_of(inputs, file.spec)
    path = _movie_path(file.path.rpartition("/")[0], file.spec, key)
    return PlannedFile(path=path, spec=file.spec, inputs=inputs, file_key=key)


def _movie_path(folder: str, spec: Spec, key: FileKey) -> str:
    return f"{folder}/{spec.name}-{_short(key)}.{ENDINGS[spec.container]}"


def recorded_plan(
    books: Books, derivative: Derivative, effectives: Mapping[str, EffectiveRecipe]
) -> PlannedFile:
    """The very file that a derivative is, from its record alone.

    Raises
    ------
    ArchiveError : when a frame it was made from is not in the catalogue.
    """
    frames = frames_as_made(books.catalogue, [origin.frame for origin in derivative.origins])
    inputs = []
    for origin in derivative.origins:
        frame = frames.get(origin.frame)
        if frame is None:
            raise ArchiveError(
                f"{shown(derivative.path)} was made from frame {origin.frame[:19]}…, which is not held here.",
                hint="Mount the volume that holds its night, or unite the archive it came from.",
            )
        recipe = effectives[origin.effective]
        inputs.append(develop(frame, recipe, origin.versions, derivative.spec, derivative.texts))
    return PlannedFile(
        path=derivative.path, spec=derivative.spec, inputs=tuple(inputs), file_key=derivative.file_key
    )


def _stem(frame: Frame) -> str:
    return PurePosixPath(frame.name).stem


def _short(key: str) -> str:
    return key.removeprefix("sha256:")[:8]
