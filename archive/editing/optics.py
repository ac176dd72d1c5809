"""Dark frames and lenses: which there are, what a person says, and what recipes take from them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from archive.editing.bench import NOTHING
from archive.editing.recipes import Recipes
from archive.engine import lensdata
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.lensmeasure import measure_fall_off
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.editing import Saved
from archive.model.entry import LENS, Change, Draft
from archive.model.lens import FallOffMeasure, LensAnswer, LensCandidate

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
        UsageError : a dark frame is of another camera, exposure or sensitivity, or one of the frames itself.
        """
        targets = self._bench.several(name)
        chosen = {frame.id: frame for word in darks for frame in self._bench.several(word)}
        if not chosen or len(chosen) > _MANY:
            raise UsageError(
                f"{len(chosen)} dark frames were named; 1 to {_MANY} can be used.", hint=f"{NOTHING}"
            )
        wanted = _settings(targets[0])
        for dark in chosen.values():
            if dark.id in {frame.id for frame in targets}:
                raise UsageError(
                    f"{shown(dark.name)} cannot be its own dark frame.", hint=f"{NOTHING} Name other frames."
                )
            if _settings(dark) != wanted:
                raise UsageError(
                    f"{shown(dark.name)} is no dark frame for {shown(targets[0].name)}: "
                    f"it is of {_told(dark)}, the frame of {_told(targets[0])}.",
                    hint=f"{NOTHING} Dark frames are of the same camera, exposure and sensitivity.",
                )
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

    def apply_lens(self, name: str, *, shared: bool = False, note: str = "") -> Saved:
        """Write the values of the lens that was chosen into a frame's recipe, or into what frames share.

        Raises
        ------
        UsageError : no lens was chosen, its focal length is not known, or the database has no values for it.
        """
        frame = self._bench.several(name)[0]
        chosen, facts = self._chosen(frame), frame.facts
        if chosen is None:
            raise UsageError(
                f"No lens is on record for {shown(frame.name)} ({shown(facts.lens or 'not named')}).",
                hint=f"{NOTHING} `noctuary lens match FRAME` offers candidates; --take keeps your choice.",
            )
        focal = facts.focal_mm or (chosen.shortest_mm if chosen.shortest_mm == chosen.longest_mm else None)
        if not focal:
            raise UsageError(
                f"The focal length of {shown(frame.name)} is not known.",
                hint=f"{NOTHING} Set distortion, lateral_colour and fall_off by hand.",
            )
        sides = (float(facts.width or 3), float(facts.height or 2))
        values = lensdata.operator_values(chosen, focal_mm=focal, f_number=facts.f_number, sides=sides)
        settings = [f"{name}.{key}={each}" for name, own in values.items() for key, each in own.items()]
        if not settings:
            raise UsageError(
                f"The lens database has no values for {shown(chosen.model)} at {focal:g} mm.",
                hint=f"{NOTHING} Measure its fall-off with `noctuary lens measure`.",
            )
        return self._recipes.set(name, settings, shared=shared, note=note or f"lens {chosen.model}")

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


def _settings(frame: Frame) -> tuple[Any, ...]:
    facts = frame.facts
    return frame.camera, facts.exposure_s, facts.iso, facts.width, facts.height


def _told(frame: Frame) -> str:
    facts = frame.facts
    exposure = f"{facts.exposure_s:g} s" if facts.exposure_s else "unknown exposure"
    return f"{shown(facts.model or 'an unknown camera')}, {exposure}, ISO {facts.iso or 'unknown'}"
