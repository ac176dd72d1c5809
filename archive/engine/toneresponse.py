"""How a recipe answers to light: grey fields developed by the engine itself, read back one by one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from archive.engine.decode import CameraColour, Decoded
from archive.engine.operator import declaration, is_neutral
from archive.engine.pipeline import render
from archive.model.levels import TonePoint, ToneResponse
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues

_COLUMNS, _ROWS, _FIELD = 8, 8, 40
_DARKEST = -12.0
_FAMILIES = ("tone",)


def tone_response(recipe: EffectiveRecipe, camera: CameraColour | None) -> ToneResponse:
    """The response of a recipe's tone operators, 64 points from 12 stops below clipping up to clipping.

    Fields are large beside what counts as surroundings, so that operators that look around themselves
    answer as they do in even areas; in fine detail they answer less.

    Parameters
    ----------
    camera : of the frame, as its balance decides how far above white the brightest light may lie.
    """
    tone = replace(recipe, base=_tones(recipe.base), finish=_tones(recipe.finish))
    stops = np.linspace(_DARKEST, 0.0, _COLUMNS * _ROWS)
    chart = _chart(stops, camera)
    shown, untouched = (
        _read(render(chart, each, PixelSpec(fit=None, bits=16)))
        for each in (tone, replace(tone, base=(), finish=()))
    )
    return ToneResponse(
        points=tuple(
            TonePoint(stops=round(float(s), 4), shown=round(float(a), 5), untouched=round(float(b), 5))
            for s, a, b in zip(stops, shown, untouched, strict=True)
        ),
        operators=tuple(values.name for values in (*tone.base, *tone.finish)),
    )


def _tones(values: Iterable[OperatorValues]) -> tuple[OperatorValues, ...]:
    kept = (each for each in values if declaration(each.name, each.version).family in _FAMILIES)
    return tuple(each for each in kept if not is_neutral(each))


def _order() -> npt.NDArray[np.intp]:
    """Where each field lies: to and fro, so that neighbours are alike."""
    place = np.arange(_COLUMNS * _ROWS).reshape(_ROWS, _COLUMNS)
    place[1::2] = place[1::2, ::-1]
    return place


def _chart(stops: npt.NDArray[np.float64], camera: CameraColour | None) -> Decoded:
    light = (2.0**stops)[_order()].repeat(_FIELD, axis=0).repeat(_FIELD, axis=1)
    pixels = np.repeat(light[..., None], 3, axis=2)
    if camera is not None:
        # Balanced, it is grey again; the channel that is amplified least is the first to clip.
        pixels = pixels / camera.as_shot
    return Decoded(pixels=np.ascontiguousarray(pixels, np.float32), camera=camera)


def _read(picture: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]) -> npt.NDArray[np.float64]:
    middle = _FIELD // 2
    fields = picture[middle::_FIELD, middle::_FIELD, 1].astype(np.float64) / np.iinfo(picture.dtype).max
    out = np.empty(_COLUMNS * _ROWS)
    out[_order()] = fields
    return out
