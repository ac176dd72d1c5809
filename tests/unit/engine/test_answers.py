"""Answers of decoding processes that nobody can trust, and light made of those that hold."""

import copy
import io
import tracemalloc
from typing import Any

import numpy as np
import pytest
from PIL import Image
from support.dngs import unusual_dng
from support.tinydng import night_mosaic, tiny_dng

from archive.engine import answers, icc, worker

NAN = float("nan")


def stacked() -> bytes:
    return unusual_dng(np.stack([night_mosaic(64, 96)] * 3, axis=-1))


def png() -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full((10, 12, 3), (0, 128, 255), np.uint8)).save(out, "PNG")
    return out.getvalue()


def with_preview() -> worker.Answer:
    facts, arrays = worker.decode(tiny_dng(night_mosaic(64, 96)))
    own, pictures = worker.decode(png())
    return {**facts, "arrays": 1, "preview": own}, [*arrays, *pictures]


HONEST = {
    "mosaic": lambda: worker.decode(tiny_dng(night_mosaic(64, 96))),
    "linear": lambda: worker.decode(stacked()),
    "grey": lambda: worker.decode(unusual_dng(night_mosaic(64, 96))),
    "picture": lambda: worker.decode(png()),
    "preview": with_preview,
}


@pytest.mark.parametrize("kind", HONEST)
def test_what_decoders_answer_holds(kind: str) -> None:
    answers.check(*HONEST[kind]())


LIES: list[tuple[str, tuple[str, ...], Any]] = [
    *(
        (kind, (name,), value)
        for kind in ("mosaic", "linear")
        for name, value in [
            ("layout", "cube"), ("layout", None), ("layout", ["mosaic"]), ("layout", "picture"),
            ("orientation", 9), ("orientation", "1"), ("orientation", None), ("orientation", True),
            ("sensor", "a camera"), ("camera", "a camera"), ("camera", {}), ("camera", []),
            ("white", 512), ("white", NAN), ("white", None), ("white", float("inf")), ("white", 1 << 70),
            ("preview", {}), ("preview", "one"), ("preview", {"layout": "mosaic"}),
        ]
    ),
    ("linear", ("black",), 65535.0), ("linear", ("black",), [0, 0, 0]), ("linear", ("black",), NAN),
    ("mosaic", ("black",), 512), ("mosaic", ("black",), [512] * 3), ("mosaic", ("black",), [NAN] * 4),
    ("mosaic", ("black",), [512, 512, 512, 15000]),
    ("mosaic", ("pattern",), [0, 1, 1, 3]), ("mosaic", ("pattern",), [0, 1, 0.5, 2]),
    ("mosaic", ("pattern",), [0, 1, 1]), ("mosaic", ("pattern",), None), ("mosaic", ("pattern",), "RGGB"),
    ("mosaic", ("aspect",), 0), ("mosaic", ("aspect",), 1e6), ("mosaic", ("aspect",), -1),
    ("mosaic", ("noise",), [1e-4]), ("linear", ("noise",), "calm"), ("mosaic", ("noise",), [NAN, 0]),
    ("mosaic", ("iso",), -1), ("linear", ("iso",), None),
    *(
        (kind, ("camera", name), value)
        for kind in ("mosaic", "linear")
        for name, value in [
            ("to_srgb", None), ("to_srgb", [[1, 0, 0]] * 3), ("to_srgb", [[1, 0], [0, 1]]),
            ("to_srgb", [1, 0, 0]), ("to_srgb", [[NAN, 0, 0], [0, 1, 0], [0, 0, 1]]),
            ("as_shot", [1, 1]), ("as_shot", [1, 0, 1]), ("daylight", [1, 1, NAN]), ("daylight", None),
        ]
    ),
    ("preview", ("arrays",), 0), ("preview", ("arrays",), 4), ("preview", ("arrays",), "1"),
    ("preview", ("arrays",), 2), ("preview", ("preview", "orientation"), 0),
    ("preview", ("preview", "layout"), "mosaic"), ("preview", ("preview", "preview"), {}),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "path", "value"), LIES)
def test_no_lie_of_a_decoder_is_believed(kind: str, path: tuple[str, ...], value: Any) -> None:
    facts, arrays = HONEST[kind]()
    facts = copy.deepcopy(facts)
    place = facts
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = value
    with pytest.raises(ValueError, match=r"^it"):
        answers.check(facts, arrays)


@pytest.mark.parametrize("kind", HONEST)
def test_no_fact_can_be_left_out(kind: str) -> None:
    facts, arrays = HONEST[kind]()
    for name in facts.keys() - {"camera", "noise", "preview"}:
        if kind in ("linear", "grey") and name == "aspect":
            continue
        with pytest.raises(ValueError, match=r"^it"):
            answers.check({each: value for each, value in facts.items() if each != name}, arrays)


@pytest.mark.parametrize(
    ("kind", "arrays"),
    [
        ("mosaic", []),
        ("mosaic", [b"bytes"]),
        ("mosaic", [np.ones((8, 8, 3), np.uint16)]),
        ("mosaic", [np.ones((8, 8), np.float32)]),
        ("mosaic", [np.ones((8, 8), np.uint16)] * 2),
        ("linear", [np.ones((8, 8), np.uint16)]),
        ("linear", [np.ones((8, 8, 2), np.uint16)]),
        ("picture", []),
        ("picture", [np.ones((8, 8, 3), np.uint8)]),
        ("picture", [np.ones((8, 8, 4), np.uint8), np.ones((3, 256), np.float32), np.eye(3)]),
        ("picture", [np.ones((8, 8, 3), np.uint8), np.ones((3, 255), np.float32), np.eye(3)]),
        ("picture", [np.ones((8, 8, 3), np.uint16), np.ones((3, 256), np.float32), np.eye(3)]),
        ("picture", [np.ones((8, 8, 3), np.float32), np.ones((3, 256), np.float32), np.eye(3)]),
        ("picture", [np.ones((8, 8, 3), np.uint8), np.ones((3, 256), np.float32), np.eye(2)]),
        ("picture", [np.ones((8, 8, 3), np.uint8), np.full((3, 256), np.nan, np.float32), np.eye(3)]),
        ("picture", [np.ones((8, 8, 3), np.uint8), np.ones((3, 256), np.float32), np.eye(3) * np.nan]),
    ],
)
def test_no_array_of_another_form_is_believed(kind: str, arrays: list[Any]) -> None:
    with pytest.raises(ValueError, match=r"^it"):
        answers.check(HONEST[kind]()[0], arrays)


def test_light_is_none_at_black_and_one_at_white() -> None:
    stored = np.array([[[0, 2000, 65535]]], np.uint16)
    made = answers.linear_light(stored, 2000.0, 65535.0)
    assert made.dtype == np.float32
    assert np.allclose(made[0, 0], [-2000 / 63535, 0, 1])


def test_stored_numbers_become_light_by_curve_and_matrix() -> None:
    transfer = icc.coded_transfer(12, 13, 256)
    assert transfer is not None
    stored = np.random.default_rng(3).integers(0, 256, (7, 9, 3)).astype(np.uint8)
    made = answers.picture_light(stored, transfer.curves, transfer.matrix)
    light = icc.srgb_transfer(256).curves[0].astype(np.float64)[stored]
    assert made.dtype == np.float32 and made.flags.c_contiguous
    assert np.allclose(made, np.einsum("ij,yxj->yxi", transfer.matrix, light), atol=1e-6)


@pytest.mark.parametrize("mixed", [False, True])
def test_light_of_a_large_picture_takes_little_more_memory_than_itself(mixed: bool) -> None:
    """Made whole, it took its own size three times over. Counted by tracemalloc, to which NumPy reports."""
    transfer = icc.coded_transfer(12, 13, 256) if mixed else icc.srgb_transfer(256)
    assert transfer is not None
    stored = np.random.default_rng(3).integers(0, 256, (1500, 1000, 3)).astype(np.uint8)
    answers.picture_light(stored[:2], transfer.curves, transfer.matrix)
    tracemalloc.start()
    made = answers.picture_light(stored, transfer.curves, transfer.matrix)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 1.3 * made.nbytes
    # The same bits as of any part alone.
    assert np.array_equal(made[700:], answers.picture_light(stored[700:], transfer.curves, transfer.matrix))


def test_linear_light_of_a_large_picture_takes_little_more_memory_than_itself() -> None:
    stored = np.random.default_rng(3).integers(0, 65536, (1500, 1000, 3)).astype(np.uint16)
    tracemalloc.start()
    made = answers.linear_light(stored, 2000.0, 65535.0)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 1.3 * made.nbytes
