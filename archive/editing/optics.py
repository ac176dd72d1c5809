"""Dark frames and lenses: which there are, what a person says, and what recipes take from them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from archive.catalogue.books import Books
from archive.editing.bench import NOTHING
from archive.editing.recipes import Recipes
from archive.engine import lensdata, operator
from archive.engine.darkframe import light_in
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.lensmeasure import measure_fall_off
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.editing import Saved
from archive.model.entry import LENS, Change, Draft
from archive.model.lens import FallOffMeasure, LensAnswer, LensApplied, LensCandidate
from archive.model.recipe import LENS_OPERATORS, EffectiveRecipe, Recipe

_MANY = 64


class Optics:
    """What a sensor and a lens add to frames, and taking it away again."""

    def __init__(self, recipes: Recipes) -> None:
        self._recipes = recipes
        self._bench = recipes.bench

    def use_darks(self, name: str, darks: Sequence[str], *, shared: bool = False, note: str = "") -> Saved:
        """Let a frame's recipe, or what frames share, subtract these dark frames.

        Raises
        ------
        UsageError : a dark frame is of another camera, exposure or sensitivity, was taken in light, or is one
            of the frames itself.
        ArchiveError : a dark frame is not held, or cannot be decoded.
        """
        targets = self._bench.several(name)
        chosen = {frame.id: frame for word in darks for frame in self._bench.several(word)}
        if not chosen or len(chosen) > _MANY:
            raise UsageError(
                f"{len(chosen)} dark frames were named; 1 to {_MANY} can be used.", hint=f"{NOTHING}"
            )
        for dark in chosen.values():
            if dark.id in {frame.id for frame in targets}:
                raise UsageError(
                    f"{shown(dark.name)} cannot be its own dark frame.", hint=f"{NOTHING} Name other frames."
                )
            if dark.settings != targets[0].settings:
                raise UsageError(
                    f"{shown(dark.name)} is no dark frame for {shown(targets[0].name)}: "
                    f"it is of {_told(dark)}, the frame of {_told(targets[0])}.",
                    hint=f"{NOTHING} Dark frames are of the same camera, exposure and sensitivity.",
                )
        _refuse_lit(self._bench.books, list(chosen.values()))
        setting = f"dark_frame.frames={' '.join(sorted(chosen))}"
        return self._recipes.set(name, [setting], shared=shared, note=note)

    def lens(self, name: str, *, take: int | None = None) -> LensAnswer:
        """What is known of a frame's lens; with ``take``, that candidate (from 1) is the person's choice.

        Nothing of what is offered is ever used by itself.

        Raises
        ------
        UsageError : there is no candidate of this number.
        """
        frame = self._bench.one(name)
        facts = frame.facts
        offered = lensdata.candidates(facts.make or "", facts.model or "", facts.lens or "")
        entry = None
        if take is not None:
            if not 1 <= take <= len(offered):
                raise UsageError(
                    f"There is no candidate {take} for the lens of {shown(frame.name)}: "
                    f"{len(offered)} are offered.",
                    hint=f"{NOTHING} `noctuary lens match FRAME` lists them with their numbers.",
                )
            value = {"candidate": offered[take - 1].to_json(), "source": lensdata.source()}
            change = Change(subjects=(frame.camera,), layer=LENS, line=facts.lens or "", value=value)
            entry = self._bench.state(Draft(kind=LENS, changes=(change,)))
        return LensAnswer(
            frame=frame.name, camera=f"{facts.make or ''} {facts.model or ''}".strip(), lens=facts.lens or "",
            focal_mm=facts.focal_mm, chosen=self._chosen(frame), offered=offered, entry=entry,
        )  # fmt: skip

    def apply_lens(
        self, name: str, *, shared: bool = False, focal_mm: float | None = None, note: str = ""
    ) -> LensApplied:
        """Write the values of the lens that was chosen into a frame's recipe, or into what frames share.

        Values of another lens that was applied before go, also where this one has none. ``focal_mm`` is for
        frames that do not tell their focal length, or tell several.

        Raises
        ------
        UsageError : no lens was chosen, its focal length is not known or not the same in all frames, or the
            database has no values for it.
        """
        frames = self._bench.several(name) if shared else (self._bench.one(name),)
        frame = frames[0]
        _refuse_several_lenses(frames)
        chosen, facts = self._chosen(frame), frame.facts
        if chosen is None:
            raise UsageError(
                f"No lens is on record for {shown(frame.name)} ({shown(facts.lens or 'not named')}).",
                hint=f"{NOTHING} `noctuary lens match FRAME` offers candidates; --take keeps your choice.",
            )
        focal = focal_mm or _focal_of(frames, chosen)
        sides = (float(facts.width or 3), float(facts.height or 2))
        values = lensdata.operator_values(chosen, focal_mm=focal, f_number=facts.f_number, sides=sides)
        if not values:
            raise UsageError(
                f"The lens database has no values for {shown(chosen.model)} at {focal:g} mm.",
                hint=f"{NOTHING} Measure its fall-off with `noctuary lens measure`.",
            )
        lacking = [each for each in LENS_OPERATORS if each not in values]
        drop, off = self._stale(frames, lacking, shared=shared)
        settings = [
            f"{each}.{key}={value}"
            for each, own in (values | {gone: {} for gone in off}).items()
            for key, value in {**operator.checked(each, {}).values, **own}.items()
        ]
        note = note or f"lens {chosen.model}"
        saved = self._recipes.set(name, settings, drop=drop, shared=shared, note=note)
        remarks = [*_gone_remark([*drop, *off]), *_aperture_remark(frames, values)]
        return LensApplied(saved=saved, remarks=tuple(remarks))

    def _stale(
        self, frames: Sequence[Frame], lacking: Sequence[str], *, shared: bool
    ) -> tuple[list[str], list[str]]:
        """Of the operators that a lens has no values for, those to take out and those to set to nothing.

        Taking out is enough where nothing of the kind is left beneath.
        """
        standings = self._bench.standings(frames).values()
        if shared:
            held = [[each.shared[0].recipe] if each.shared else [] for each in standings]
            beneath: list[Recipe | EffectiveRecipe] = []
        else:
            held = [[self._bench.own_recipe(each)] for each in standings]
            beneath = [self._bench.effective(replace(each, own=())) for each in standings]
        drop, off = [], []
        for name in lacking:
            in_each = [any(step.name == name for recipe in own for step in recipe.base) for own in held]
            below = [step for recipe in beneath for step in recipe.base if step.name == name]
            if any(not operator.is_neutral(step) for step in below) or (any(in_each) and not all(in_each)):
                off.append(name)
            elif all(in_each):
                drop.append(name)
        return drop, off

    def measure_lens(
        self, flats: Sequence[str], *, into: str | None = None, shared: bool = False
    ) -> tuple[FallOffMeasure, Saved | None]:
        """The fall-off that frames of an even surface show, and, if asked, a recipe that takes it away.

        Raises
        ------
        ArchiveError : the frames do not show one.
        """
        frames = list({frame.id: frame for word in flats for frame in self._bench.several(word)}.values())
        with DecoderPool(1) as decoder:
            measure = measure_fall_off(self._decoded(frames, decoder))
        if into is None:
            return measure, None
        settings = [f"fall_off.{key}={value}" for key, value in measure.values.items()]
        note = f"fall-off measured from {measure.frames} frames"
        return measure, self._recipes.set(into, settings, shared=shared, note=note)

    def _decoded(self, frames: Sequence[Frame], decoder: DecoderPool) -> Iterator[Decoded]:
        for frame in frames:
            yield decoder.decode(self._bench.books.master_bytes(frame), frame.name)

    def _chosen(self, frame: Frame) -> LensCandidate | None:
        value: Any = self._bench.books.catalogue.stated(frame.camera, LENS, frame.facts.lens or "")
        return LensCandidate.from_json(value["candidate"]) if value else None


def _refuse_lit(books: Books, frames: Sequence[Frame]) -> None:
    with DecoderPool(1) as decoder:
        for frame in frames:
            light = light_in(decoder.decode(books.master_bytes(frame), frame.name))
            if light is not None:
                raise UsageError(
                    f"{shown(frame.name)} is no dark frame: half of it lies {light:.1%} of the range or more "
                    "above black.",
                    hint=f"{NOTHING} Name raw frames that were taken with the lens covered.",
                )


def _focal_of(frames: Sequence[Frame], lens: LensCandidate) -> float:
    """The one focal length of frames that one lens took."""
    fixed = lens.shortest_mm if lens.shortest_mm == lens.longest_mm else None
    counted = Counter(frame.facts.focal_mm or fixed for frame in frames)
    if None in counted:
        raise UsageError(
            f"The focal length of {counted[None]} of these {len(frames)} frames is not known.",
            hint=f"{NOTHING} Say it with --focal.",
        )
    if len(counted) > 1:
        told = ", ".join(f"{count} at {focal:g} mm" for focal, count in sorted(counted.items()))
        raise UsageError(
            f"These frames were taken at several focal lengths: {told}.",
            hint=f"{NOTHING} Name the frames of one of them, or say with --focal which one is meant for all.",
        )
    return float(frames[0].facts.focal_mm or fixed or 0)


def _refuse_several_lenses(frames: Sequence[Frame]) -> None:
    first = frames[0]
    words = first.camera, first.facts.lens
    others = sum((frame.camera, frame.facts.lens) != words for frame in frames)
    if others:
        raise UsageError(
            f"{others} of these {len(frames)} frames are of another camera or lens than {shown(first.name)}.",
            hint=f"{NOTHING} Name the frames of one lens at a time.",
        )


def _gone_remark(gone: Sequence[str]) -> list[str]:
    if not gone:
        return []
    return [f"Taken out, as the lens has no values for it: {', '.join(gone)}."]


def _aperture_remark(frames: Sequence[Frame], values: Mapping[str, object]) -> list[str]:
    f_number = frames[0].facts.f_number
    others = sum(frame.facts.f_number != f_number for frame in frames)
    if "fall_off" not in values or not others:
        return []
    return [
        f"The fall-off is that of f/{f_number:g}; {others} of {len(frames)} frames were taken at another "
        "aperture, or tell none. Distortion and lateral colour fit all of them."
    ]


def _told(frame: Frame) -> str:
    facts = frame.facts
    exposure = f"{facts.exposure_s:g} s" if facts.exposure_s else "unknown exposure"
    return f"{shown(facts.model or 'an unknown camera')}, {exposure}, ISO {facts.iso or 'unknown'}"
