"""Figures of the picture engine, each beside a plain way, medians of one run on one machine.

Run it with ``python tests/benchmarks/engine_table.py``; it makes its own 24-megapixel raw file. It prints
milliseconds and ratios, because machines differ and drift; nothing here is asserted. Quality of noise
reduction is measured on the demo's noiseless scene; PyWavelets is needed for the wavelets.
"""

from __future__ import annotations

import argparse
import io
import resource
import statistics
import time
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import rawpy
from PIL import Image
from scipy import ndimage
from skimage.metrics import peak_signal_noise_ratio, structural_similarity
from skimage.restoration import denoise_nl_means, denoise_wavelet

from archive.demo import cards
from archive.engine import operator
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.foundation import current_foundation
from archive.engine.output import encode_jpeg
from archive.engine.pipeline import render
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

EVERY = {
    "hot_pixels": {"reach": 12.0}, "vignetting": {"corner": 0.8}, "exposure": {"stops": 0.3},
    "highlight_recovery": {"stops": 0.6}, "highlight_compression": {"stops": 0.5},
    "shadow_lift": {"stops": 0.8}, "local_contrast": {"amount": 0.2}, "contrast": {"amount": 0.15},
    "chroma": {"amount": 0.1}, "luminance_noise": {"strength": 1.5}, "colour_noise": {"strength": 4.0},
    "sharpness": {"amount": 0.4},
}  # fmt: skip
HD = (1920, 1280)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


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


def speed(times: int) -> None:
    data = next(iter(cards.raw_files("north", [40], size=(6000, 4000))))
    every, spec = recipe(EVERY), PixelSpec(fit=HD)
    with DecoderPool(1) as pool:
        decoded = pool.decode(data, "bench.dng")

        def ours() -> bytes:
            return encode_jpeg(render(pool.decode(data, "bench.dng"), every, spec, threads=2), quality=90)

        def unpacked() -> None:
            with rawpy.imread(io.BytesIO(data)) as raw:
                raw.raw_image_visible.sum(dtype=np.uint64)

        unpack = median(unpacked, times)
        hd = median(ours, times)
        route, half = median(lambda: plain(data), 1), median(lambda: sensible(data), times)
        print(f"24 MP → HD, every operator: {hd:.0f} ms; plain route {route:.0f} ms, {route / hd:.1f} ×")
        print(f"  half size + float32 + OpenCV {half:.0f} ms, {half / hd:.1f} ×; unpacking {unpack:.0f} ms")
        print(f"  both without LibRaw's unpacking: {(half - unpack) / max(hd - unpack, 1):.1f} ×")
        ahd = median(lambda: opened(data, demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD), times)
        full = median(
            lambda: encode_jpeg(
                render(pool.decode(data, "bench.dng"), every, PixelSpec(fit=None), threads=2), quality=90
            ), times,
        )  # fmt: skip
        print(f"24 MP full size: {full:.0f} ms; LibRaw's AHD alone {ahd:.0f} ms: {full / ahd:.2f} of it")
    for name, fit in (("HD", HD), ("1600 px", (1600, 1600))):
        for threads in (1, 2):
            taken = median(
                lambda fit=fit, threads=threads: render(decoded, every, PixelSpec(fit=fit), threads=threads),
                times,
            )
            print(f"{name} from decoded data, {threads} threads: {taken:.0f} ms")
    print(f"peak memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


def quality() -> None:
    """Gain of noise reduction on the demo's noiseless scene, all ways in one run."""
    light = np.clip(cards.scene_light("north", 50, size=(960, 640)), 0, 0.95).astype(np.float64)
    spec = PixelSpec(fit=None, bits=16)
    truth = encoded(light)
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    samples = np.take_along_axis(light, channel[..., None], axis=-1)[..., 0]
    calm = recipe({"luminance_noise": {"strength": 1.5}, "colour_noise": {"strength": 4.0}})
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
        for strength in (5, 8, 12):
            ways[f"OpenCV non-local means {strength}"] = lambda eight=eight, h=strength: (
                cv2.fastNlMeansDenoisingColored(eight, None, h, 1.5 * h, 5, 15) / 255
            )
        for share in (0.8, 1.2):
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
    parser.add_argument("--only", choices=("speed", "quality"))
    options = parser.parse_args()
    if options.only != "quality":
        speed(options.times)
    if options.only != "speed":
        quality()
