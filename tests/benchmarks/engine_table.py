"""Figures of the picture engine, each beside a plain way, medians of one run on one machine.

Run it with ``python tests/benchmarks/engine_table.py``; it makes its own 24-megapixel raw file. It prints
milliseconds and ratios, because machines differ and drift; nothing here is asserted. The plain routes do no
warp and subtract no dark frame, so ours is compared without them and told with them. Quality of noise
reduction is measured on two nights of the demo without their noise and on a photograph, where it is at hand.
"""

from __future__ import annotations

import argparse
import io
import itertools
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import rawpy
from PIL import Image
from scipy import ndimage
from skimage.metrics import peak_signal_noise_ratio, structural_similarity
from skimage.restoration import denoise_nl_means, denoise_wavelet

from archive.demo import cards
from archive.engine import freed, operator
from archive.engine.darkframe import MasterDark
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.foundation import current_foundation
from archive.engine.keptplanes import KeptPlanes
from archive.engine.output import encode_jpeg
from archive.engine.pipeline import render, render_linear
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

EVERY = {
    "hot_pixels": {"reach": 12.0}, "vignetting": {"corner": 0.8}, "exposure": {"stops": 0.3},
    "highlight_recovery": {"stops": 0.6}, "highlight_compression": {"stops": 0.5},
    "shadow_lift": {"stops": 0.8}, "local_contrast": {"amount": 0.2}, "contrast": {"amount": 0.15},
    "chroma": {"amount": 0.1}, "luminance_noise": {"strength": 3.2}, "colour_noise": {"strength": 3.5},
    "sharpness": {"amount": 0.4},
}  # fmt: skip
LENS = {
    "dark_frame": {"frames": "xxh128:" + 32 * "0"}, "balance": {"kelvin": 4600.0},
    "fall_off": {"k1": -0.4, "k2": 0.1}, "distortion": {"k1": 0.02}, "straighten": {"angle": 1.5},
    "lateral_colour": {"red": 1.0004, "blue": 0.9996}, "crop": {"left": 0.02, "right": 0.02},
}  # fmt: skip
HD, SIZE = (1920, 1280), (6000, 4000)
# What EVERY sharpens is finer than a pixel of 1600 px.
SIZES = {"HD": HD, "1600 px, sharpening takes no part": (1600, 1600)}
THROUGH_LIBRAW = (
    sys.executable, "-P", "-c",
    "from archive.engine import rawfile, worker; worker.main(lambda data: rawfile.read(data, measured=True))",
)  # fmt: skip
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
SAMPLES = Path(__file__).parents[3] / "shared" / "samples"


def recipe(operators: dict[str, dict[str, Any]]) -> EffectiveRecipe:
    base = tuple(operator.checked(name, values) for name, values in operators.items())
    return EffectiveRecipe(foundation=current_foundation(), base=base, finish=())


def median(work: Callable[[], object], times: int) -> float:
    """Milliseconds."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1000 * statistics.median(taken)


def encoded(light: Any) -> Any:
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def guided(plane: Any, mean: Callable[[Any], Any], tolerance: float) -> Any:
    middle = mean(plane)
    spread = mean(plane * plane) - middle * middle
    slope = spread / (spread + tolerance)
    return mean(slope) * plane + mean(middle - slope * middle)


def developed(light: Any, blur: Callable[[Any, float], Any], mean: Callable[[Any], Any]) -> Any:
    """The same kinds of work as EVERY, written the way arithmetic on whole arrays is written."""
    height, width = light.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(light.dtype)
    squared = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (0.25 * (width**2 + height**2))
    roots = np.sqrt(np.maximum(light * (2 ** (0.3 + 0.8 * squared))[..., None], 0))
    luma = roots @ np.array([0.25, 0.5, 0.25], light.dtype)
    scale = width / 1920
    calm = guided(luma, mean, 1e-4)
    warm, cold = blur(roots[..., 0] - luma, 4 * scale), blur(roots[..., 2] - luma, 4 * scale)
    base = blur(calm, 30 * scale)
    shaped = base + 1.2 * (calm - base) + 0.4 * (calm - blur(calm, 0.5 * scale))
    gain = (1 + 0.35 * np.exp(-((base / 0.18) ** 2))) * shaped / np.maximum(calm, 1e-4)
    parts = [(calm + warm) * gain, (calm - 0.5 * (warm + cold)) * gain, (calm + cold) * gain]
    colour = np.stack(parts, axis=-1) ** 2
    light = colour @ LUMINANCE.astype(colour.dtype)
    values = encoded(light[..., None] + 1.1 * (colour - light[..., None]))
    values = values + 0.15 * values * (1 - values) * (2 * values - 1)
    return (np.clip(values, 0, 1) * 255 + 0.5).astype(np.uint8)


def opened(data: bytes, **options: Any) -> Any:
    with rawpy.imread(io.BytesIO(data)) as raw:
        return raw.postprocess(
            output_bps=16, gamma=(1, 1), no_auto_bright=True, use_camera_wb=True, **options
        )


def jpeg(pixels: Any) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


def plain(data: bytes) -> bytes:
    """Full demosaic, float64, all operators at full size, then made smaller."""
    light = opened(data) / 65535.0
    made = developed(light, ndimage.gaussian_filter, lambda plane: ndimage.uniform_filter(plane, 13))
    return jpeg(np.asarray(Image.fromarray(made).resize(HD, Image.Resampling.LANCZOS)))


def sensible(data: bytes) -> bytes:
    """LibRaw's half size, made smaller at once, then float32 and OpenCV."""
    light = cv2.resize(opened(data, half_size=True), HD, interpolation=cv2.INTER_AREA)
    made = developed(
        light.astype(np.float32) / np.float32(65535),
        lambda plane, sigma: cv2.GaussianBlur(plane, (0, 0), sigma), lambda plane: cv2.blur(plane, (5, 5)),
    )  # fmt: skip
    return jpeg(made)


def pool_through(reader: str) -> DecoderPool:
    """One decoding process that reads raws by LibRaw alone, or as the archive does."""
    return DecoderPool(1, command=THROUGH_LIBRAW) if reader == "LibRaw" else DecoderPool(1)


def ours(pool: DecoderPool, data: bytes, steps: EffectiveRecipe, fit: tuple[int, int] | None) -> bytes:
    dark = covered() if any(values.name == "dark_frame" for values in steps.base) else None
    decoded = pool.decode(data, "bench.dng")
    picture = render(decoded, steps, PixelSpec(fit=fit), threads=2, dark=dark)
    # Colours at half size, as in the other ways' files.
    return encode_jpeg(picture, quality=90, subsampling="4:2:0")


@cache
def covered() -> MasterDark:
    """A master of the dark: a glow that grows towards one side."""
    width, height = SIZE
    glow = np.broadcast_to(np.linspace(0, 6, width, dtype=np.float32), (height, width))
    return MasterDark(counts=np.ascontiguousarray(glow), pattern=(0, 1, 1, 2))


ROUTES: dict[str, Callable[[DecoderPool, bytes], object]] = {
    "HD, every operator": lambda pool, data: ours(pool, data, recipe(EVERY), HD),
    "HD, with lens, dark frame, crop and straightening": lambda pool, data: ours(
        pool, data, recipe(EVERY | LENS), HD
    ),
    "1600 px, as a preview: every operator, sharpening takes no part": lambda pool, data: ours(
        pool, data, recipe(EVERY), (1600, 1600)
    ),
    "full size, every operator": lambda pool, data: ours(pool, data, recipe(EVERY), None),
    "plain: full demosaic, float64, Pillow": lambda _, data: plain(data),
    "sensible: half size, float32, OpenCV": lambda _, data: sensible(data),
}


def raw_file() -> bytes:
    return next(iter(cards.raw_files("north", [40], size=SIZE)))


def beside(ways: dict[str, Callable[[], object]], times: int) -> dict[str, float]:
    """Median milliseconds of each, all of them once in every round, so that a slow minute is slow for all."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for turn in range(times + 1):
        for name, way in ways.items():
            begun = time.perf_counter()
            way()
            if turn:
                taken[name].append(time.perf_counter() - begun)
    return {name: 1000 * statistics.median(each) for name, each in taken.items()}


def unpacked(data: bytes) -> None:
    with rawpy.imread(io.BytesIO(data)) as raw:
        assert raw.raw_image_visible.size


def end_to_end(data: bytes, times: int) -> None:
    """From the file to the picture: ours through LibRaw's unpacking and through our own, and other ways."""
    # Once is enough of what takes so long.
    route = median(lambda: plain(data), 1)
    steps = {"HD": (EVERY, HD), "bent": (EVERY | LENS, HD), "full": (EVERY, None)}
    with pool_through("LibRaw") as libraw, pool_through("own reader") as own:
        pools = {"LibRaw": libraw, "own reader": own}
        ways: dict[str, Callable[[], object]] = {
            f"{reader} {name}": lambda pool=pool, every=every, fit=fit: ours(pool, data, recipe(every), fit)
            for reader, pool in pools.items()
            for name, (every, fit) in steps.items()
        }
        ways |= {
            "sensible": lambda: sensible(data),
            "unpacking": lambda: unpacked(data),
            "AHD": lambda: opened(data, demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD),
        }
        taken = beside(ways, times)
    half, unpack, ahd = taken["sensible"], taken["unpacking"], taken["AHD"]
    print(
        f"24 MP file to HD JPEG: plain {route:.0f} ms, sensible {half:.0f} ms, unpacking {unpack:.0f} ms, "
        f"LibRaw's AHD alone {ahd:.0f} ms"
    )
    for reader in pools:
        hd, bent, full = (taken[f"{reader} {name}"] for name in steps)
        print(f"  {reader}: {hd:.0f} ms, {route / hd:.1f} × plain, {half / hd:.2f} × sensible")
        if reader == "LibRaw":
            apart = (half - unpack) / max(hd - unpack, 1)
            print(f"    with unpacking subtracted from both: {apart:.2f} × sensible")
        print(f"    with lens, dark frame, crop and straightening, which neither does: {bent:.0f} ms")
        print(f"    full size: {full:.0f} ms, {full / ahd:.2f} of LibRaw's AHD alone")


def speed(times: int) -> None:
    data = raw_file()
    # Ours keeps the memory that it frees; so do the other ways, which it makes a quarter quicker.
    freed.keep()
    end_to_end(data, times)
    every = recipe(EVERY)
    with pool_through("LibRaw") as pool:
        decoded = pool.decode(data, "bench.dng")
    for name, fit in SIZES.items():
        for threads in (1, 2):
            taken = median(
                lambda fit=fit, threads=threads: render(decoded, every, PixelSpec(fit=fit), threads=threads),
                times,
            )
            print(f"{name} from decoded data, {threads} threads: {taken:.0f} ms")
    for name, fit in SIZES.items():
        for what, parameter in (("exposure", "stops"), ("luminance_noise", "strength")):
            kept, count = KeptPlanes(), itertools.count(1)

            def again(
                fit: tuple[int, int] = fit,
                kept: KeptPlanes = kept,
                count: Iterator[int] = count,
                what: str = what,
                parameter: str = parameter,
            ) -> bytes:
                changed = recipe(EVERY | {what: {parameter: 0.5 + next(count) / 100}})
                picture = render(decoded, changed, PixelSpec(fit=fit), threads=2, kept=kept)
                return encode_jpeg(picture, quality=90, subsampling="4:2:0")

            again()
            taken = median(again, times)
            print(f"{name} after a change of {what}, planes kept, with its JPEG: {taken:.0f} ms")


def memory() -> None:
    """Peak memory of every route, each in a process of its own that is given the raw file."""
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "bench.dng"
        # Inventing so large a frame takes more memory than any route does.
        ask("--make", str(raw))
        for name in ROUTES:
            print(f"peak memory, {name}: {ask('--route', name, '--file', str(raw))}")


def ask(*words: str) -> str:
    told = subprocess.run([sys.executable, __file__, *words], capture_output=True, text=True, check=True)
    return told.stdout.strip()


def alone(name: str, raw: Path) -> None:
    data = raw.read_bytes()
    before = peak("self")
    with pool_through("own reader") as pool:
        ROUTES[name](pool, data)
        children = Path("/proc/self/task").glob("*/children")
        decoders = [child for each in children for child in each.read_text().split()]
        told = "".join(f", its decoder {peak(child):.0f} MB" for child in decoders)
    print(f"{peak('self'):.0f} MB ({before:.0f} MB before it began){told}")


def peak(process: str) -> float:
    """Megabytes of memory that a running process has held at most; what its parent held does not count."""
    status = Path("/proc", process, "status").read_text()
    (line,) = (line for line in status.splitlines() if line.startswith("VmHWM:"))
    return int(line.split()[1]) / 1024


def truths() -> dict[str, Any]:
    """Noiseless light, float64, (height, width, 3): of the scene strengths were tuned on, and of others."""
    found = {
        "the demo's outburst": cards.scene_light("north", 50, size=(960, 640)),
        "another night: a quiet arc and stars by the river": cards.scene_light(
            "river", 3, seed=7, size=(960, 640)
        ),
    }
    photograph = SAMPLES / "raw/canon-powershot-g2/CRW_0313.CRW"
    if photograph.is_file():
        with DecoderPool(1) as pool:
            decoded = pool.decode(photograph.read_bytes(), photograph.name)
        # A quarter of each side: what noise ISO 50 has is averaged away.
        reduced = render_linear(decoded, recipe({}), PixelSpec(fit=(578, 578)))
        found["a photographed colour chart, ISO 50, reduced four times"] = reduced[
            : reduced.shape[0] // 2 * 2, : reduced.shape[1] // 2 * 2
        ]
    return {name: np.clip(light, 0, 0.95).astype(np.float64) for name, light in found.items()}


def quality() -> None:
    """Gain of noise reduction on scenes whose truth is known, all ways in one run."""
    for name, light in truths().items():
        print(name)
        _judged(light)


def _judged(light: Any) -> None:
    spec = PixelSpec(fit=None, bits=16)
    truth = encoded(light)
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    samples = np.take_along_axis(light, channel[..., None], axis=-1)[..., 0]
    calm = recipe({name: EVERY[name] for name in ("luminance_noise", "colour_noise")})
    for iso in (1600, 3200, 6400, 12800):
        electrons = samples * 6e6 / iso
        noisy = np.random.default_rng(1).normal(electrons, np.sqrt(electrons + 9)) * iso / 6e6
        counts = np.clip(np.round(noisy * 15000 + 512), 0, 15512).astype(np.uint16)
        decoded = Decoded(pixels=counts, pattern=(0, 1, 1, 2), black=(512.0,) * 4, white=15512.0)
        start = render(decoded, recipe({}), spec) / 65535
        eight = (start * 255 + 0.5).astype(np.uint8)
        sigma = float(np.median(np.abs(np.diff(start, axis=1)))) * 1.4826 / np.sqrt(2)
        ways: dict[str, Callable[[], Any]] = {
            "none": lambda start=start: start,
            "this engine": lambda decoded=decoded: render(decoded, calm, spec) / 65535,
        }
        for strength in (5, 8, 12, 20):
            ways[f"OpenCV non-local means {strength}"] = lambda eight=eight, h=strength: (
                cv2.fastNlMeansDenoisingColored(eight, None, h, 1.5 * h, 5, 15) / 255
            )
        for share in (0.8, 1.2, 1.6):
            ways[f"scikit-image non-local means {share} σ"] = lambda start=start, s=sigma, k=share: (
                denoise_nl_means(start, h=k * s, sigma=s, patch_size=5, patch_distance=6, channel_axis=2)
            )
        for method in ("BayesShrink", "VisuShrink"):
            ways[f"wavelets, {method}"] = lambda start=start, m=method: denoise_wavelet(
                start, method=m, convert2ycbcr=True, channel_axis=2, rescale_sigma=True
            )
        print(f"ISO {iso}")
        for name, way in ways.items():
            way()
            begun = time.perf_counter()
            made = way()
            taken = 1000 * (time.perf_counter() - begun)
            ratio = peak_signal_noise_ratio(truth, made, data_range=1)
            likeness = structural_similarity(truth, made, channel_axis=2, data_range=1)
            print(f"  {name:34} {ratio:6.2f} dB  SSIM {likeness:.4f}  {taken:6.0f} ms")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--only", choices=("speed", "memory", "quality"))
    parser.add_argument("--route", choices=ROUTES, help="take one route, and tell its memory")
    parser.add_argument("--file", type=Path, help="the raw file that the route begins with")
    parser.add_argument("--make", type=Path, metavar="FILE", help="write such a raw file, and no more")
    options = parser.parse_args()
    if options.make:
        options.make.write_bytes(raw_file())
    elif options.route:
        alone(options.route, options.file)
    else:
        parts = {"speed": lambda: speed(options.times), "memory": memory, "quality": quality}
        for name, part in parts.items():
            if options.only in (None, name):
                part()
