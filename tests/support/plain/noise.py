"""How noisy a frame is, and light without its noise."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from scipy import fft, ndimage
from support.plain.mosaic import Counts
from support.plain.planes import Floats, grown, guided, halved, smoothstep
from support.plain.stars import own_colours

from archive.engine.decode import Decoded
from archive.engine.operators.noise import ColourNoise, LuminanceNoise

# The 1-2-1 mean, down and across.
TENT = np.outer([0.25, 0.5, 0.25], [0.25, 0.5, 0.25])
WINDOW = np.outer(np.kaiser(8, 1.5), np.kaiser(8, 1.5))


def model(decoded: Decoded) -> tuple[float, float]:
    """Variance for light 1, and without light: as the file tells, else as its speed suggests.

    For frames of fewer blocks of 32 × 32 samples than 16, in which no noise is measured.
    """
    if decoded.noise:
        return decoded.noise
    if not decoded.iso > 0:
        return 2e-4, 1e-7
    # ISO 12232:2019: a sensor of speed S is full at 78 / S lx s, 4090 photons for each lx s and µm²; common
    # practice: photosites of 20 µm² that catch four of ten photons, read with three electrons of noise.
    full = 78 / min(max(decoded.iso, 25), 1e6) * 4090 * 20 * 0.4
    return 1 / full, (3 / full) ** 2


def of_blocks(mosaic: Counts, black: float, scale: float, highest: float) -> Floats:
    """Mean light, variance, and variance over twice the distance, of blocks of 32 × 32 samples.

    Of every second row, the second column and every sixth after it: three samples of one colour. Noise is
    told by second differences, whose variance is six times its own. Blocks that reach above ``highest``
    counts, or of which more than one sample in 64 is 0, have a mean of −1.
    """
    down, across = (side // 32 for side in mosaic.shape)
    whole = mosaic[: 32 * down, : 32 * across].astype(np.float64)
    blocks = whole.reshape(down, 32, across, 32).transpose(0, 2, 1, 3)[:, :, ::2]
    one, two, three, four = (blocks[..., first : first + 19 : 6] for first in (1, 3, 5, 9))
    light = (np.mean([one, two, three], axis=(0, 3, 4)) - black) * scale
    lost = np.max([one, two, three], axis=(0, 3, 4)) > highest
    lost |= np.mean(np.equal([one, two, three], 0), axis=(0, 3, 4)) > 1 / 64
    near, wide = ((one - 2 * two + three) ** 2, (one - 2 * three + four) ** 2)
    spreads = [each.mean(axis=(2, 3)) / 6 * scale**2 for each in (near, wide)]
    return np.stack([np.where(lost, -1, np.maximum(light, 0)), *spreads])


def calmed(
    planes: Floats,
    luminance: LuminanceNoise | None,
    colour: ColourNoise | None,
    noise: tuple[float, float],
    gains: Floats,
    diagonal: float,
) -> Floats:
    """Balanced camera light without its noise.

    noise : variance of samples for light 1, and without light. gains : of red, green and blue, by which the
    samples were balanced. diagonal : the frame's, in pixels.
    """
    if not (luminance or colour):
        return planes
    offset = float(np.clip(noise[1] / max(noise[0], 1e-9) + 0.375 * noise[0], 1e-4, 0.02))
    added = offset * paler(gains**2, 2) / paler(gains, 2)
    luma, warm, cold = to_roots(planes, added)
    lumas = [luma]
    for _ in range(levels(luma.shape, diagonal)):
        lumas.append(halved(lumas[-1]))
    sigmas = [
        deviation(plane - grown(coarse, 1, plane.shape), plane.size) for plane, coarse in pairwise(lumas)
    ]
    for level in range(1, len(sigmas)):
        # Noise of a half-size plane is half as strong, nearly: what is beyond that is the scene.
        sigmas[level] = min(sigmas[level], 0.55 * sigmas[level - 1])
    spreads = variances(luma, warm, cold)
    smooth = min(1.0, luminance.strength) if luminance and sigmas and sigmas[0] > 0 else 0.0
    calm, spots = without_noise(lumas, sigmas, luminance.strength) if luminance and smooth else (lumas, None)
    follow = min(1.0, colour.strength) if colour and max(spreads[1:3]) > 0 else 0.0
    if colour and follow:
        if not (luminance and smooth and luminance.strength >= 3.2):
            guides, spots = without_noise(lumas, sigmas, 3.2)
        else:
            guides = calm
        slopes, offsets = followed((warm, cold), lumas, guides, spots, sigmas, colour.strength, diagonal)
        warm, cold = (
            plane + follow * (slope * calm[0] + level - plane)
            for plane, slope, level in zip((warm, cold), slopes, offsets, strict=True)
        )
    lost = [
        max(0.0, whole - (1 - smooth) ** 2 * spreads[0] - (1 - follow) ** 2 * left)
        for whole, left in zip(
            spreads[3:], (spreads[1], (spreads[1] + spreads[2]) / 4, spreads[2]), strict=True
        )
    ]
    made = from_roots(calm[0], warm, cold, added, lost)
    share = min(1.0, max(step.strength for step in (luminance, colour) if step))
    return planes + share * (made - planes)


def paler(each: Floats, power: int = 1) -> Floats:
    """Sums over red, green and blue with the weights, to a power, that light half way to grey has of them."""
    grey = np.array([0.25, 0.5, 0.25])
    return np.tensordot(((np.eye(3) + grey) / 2) ** power, each, axes=1)


def to_roots(planes: Floats, offsets: Floats) -> tuple[Floats, Floats, Floats]:
    """Luma of square roots of light half as strongly coloured, and red's and blue's differences to it."""
    red, green, blue = np.sqrt(np.maximum(paler(planes) + offsets[:, None, None], 0))
    luma = (red + 2 * green + blue) / 4
    return luma, red - luma, blue - luma


def from_roots(luma: Floats, warm: Floats, cold: Floats, offsets: Floats, lost: list[float]) -> Floats:
    """Light again. lost : variance that was taken from the roots of red, green and blue."""
    roots = np.stack([luma + warm, luma - (warm + cold) / 2, luma + cold])
    pale = np.maximum(roots, 0) ** 2 + (np.array(lost) - offsets)[:, None, None]
    return np.asarray(2 * pale - (pale[0] + 2 * pale[1] + pale[2]) / 4)


def levels(shape: tuple[int, ...], diagonal: float) -> int:
    """How often luma is halved: for grain of a 300th of the diagonal, or of 8 pixels; not below 4 pixels."""
    wanted = max(3, round(math.log2(max(diagonal / 300, 1))))
    return min(wanted, int(math.log2(max(min(shape) / 4, 1))))


def deviation(detail: Floats, size: int) -> float:
    """Standard deviation by the median, from as many rows as are enough, but for runs of dead pixels."""
    sizes = np.abs(detail[:: max(1, size // 24_000)]).ravel()
    whole = [sizes[start : start + 32] for start in range(0, sizes.size - 31, 32)]
    alive = [run for run in whole if run.max() > 1e-6]
    if len(alive) >= 0.4 * len(whole):
        sizes = np.concatenate([*alive, sizes[32 * len(whole) :]])
    return float(np.median(sizes)) * 1.4826


def variances(luma: Floats, warm: Floats, cold: Floats) -> list[float]:
    """Of luma, differences, and roots of red, green and blue, in blocks that four of ten are calmer than."""
    if min(luma.shape) < 8:
        return [0.0] * 6
    stride = max(8, round(math.sqrt(luma.size * 64 / 24_000)))
    found: list[Floats] = []
    for plane in (luma, warm, cold, luma + warm, luma - (warm + cold) / 2, luma + cold):
        windows = np.lib.stride_tricks.sliding_window_view(plane, (8, 8))[::stride, ::stride]
        found.append(windows.var(axis=(2, 3)).ravel())
    alive = found[0] > 1e-12
    if alive.mean() >= 0.4:
        found = [each[alive] for each in found]
    return [float(np.sort(each)[int(0.4 * each.size)]) for each in found]


def without_noise(
    lumas: list[Floats], sigmas: list[float], strength: float
) -> tuple[list[Floats], Floats | None]:
    """Every level without its noise, the coarsest first, and how far pixels of half size belong to spots."""
    calm, kept = list(lumas), None
    for level in reversed(range(len(lumas) - 1)):
        made = shrunk(lumas[level], calm[level + 1], strength, sigmas[level])
        calm[level], shares = with_spots(lumas[level], lumas[level + 1], made, sigmas[level])
        if level == 1:
            kept = shares
    return calm, kept


def shrunk(plane: Floats, calm: Floats, reach: float, sigma: float) -> Floats:
    """A calm half-size version and what a plane has beyond it, less coefficients up to ``reach`` sigmas."""
    base = grown(calm, 1, plane.shape)
    thresholds = np.maximum(reach * coefficients_noise(plane - base, sigma), 1e-9)
    return base + without_small(plane - base, 1 / thresholds**2)


def coefficients_noise(detail: Floats, sigma: float) -> Floats:
    """The noise of each coefficient of blocks, (8, 8), by the size that three of ten are below."""
    height, width = detail.shape
    across, down = width // 8, height - 7
    if across == 0 or down < 1:
        return np.full((8, 8), sigma)
    tops = range(0, down, max(2, down * across // 700))
    blocks = np.stack([detail[top : top + 8, 8 * k : 8 * k + 8] for top in tops for k in range(across)])
    if len(blocks) < 40:
        return np.full((8, 8), sigma)
    sizes = np.abs(fft.dctn(blocks, axes=(1, 2), norm="ortho"))
    sizes = np.sort(sizes[sizes.max(axis=(1, 2)) > 0.25 * sigma], axis=0)
    if len(sizes) < 40:
        return np.full((8, 8), sigma)
    # Three of ten of normal noise are smaller than 0.38532 standard deviations.
    return np.minimum(sizes[int(0.3 * len(sizes))] / 0.38532, 1.75 * sigma)


def without_small(detail: Floats, inverses: Floats) -> Floats:
    """Detail by overlapping blocks less their small coefficients; beyond the rim is a paler mirror image.

    inverses : 1 / squared thresholds, (8, 8), about which coefficients set in. Blocks begin at every third
    row and fourth column, a column further each time, and count for less the more coefficients they keep.
    """
    height, width = detail.shape
    padded = np.pad(detail, ((6, 10), (8, 16)), mode="symmetric")
    inside = np.s_[6 : 6 + height, 8 : 8 + width]
    paler = np.full([2, *padded.shape], 0.75)
    paler[0, 6 : 6 + height], paler[1, :, 8 : 8 + width] = 1, 1
    padded *= paler.prod(axis=0)
    total, weight = np.zeros_like(padded), np.zeros_like(padded)
    for top in range(-6, height, 3):
        lefts = range(-8 + top // 3 % 4, width, 4)
        row = np.lib.stride_tricks.sliding_window_view(padded[top + 6 : top + 14], (8, 8))[0]
        found = fft.dctn(row[[left + 8 for left in lefts]], axes=(1, 2), norm="ortho")
        kept = np.clip(2 * found**2 * inverses - 1.5, 0, 1)
        weights = WINDOW / (1 + kept.sum(axis=(1, 2)))[:, None, None]
        made = fft.idctn(found * kept, axes=(1, 2), norm="ortho")
        for number, left in enumerate(lefts):
            there = np.s_[top + 6 : top + 14, left + 8 : left + 16]
            total[there] += made[number] * weights[number]
            weight[there] += weights[number]
    return np.asarray(total[inside] / weight[inside])


def with_spots(plane: Floats, coarse: Floats, made: Floats, sigma: float) -> tuple[Floats, Floats]:
    """A calmed plane with the bright spots of the noisy one, and how far every pixel belongs to one."""
    means = ndimage.correlate(plane - grown(coarse, 1, plane.shape), TENT, mode="nearest")
    padded = np.pad(means, 3, mode="edge")

    def beside(down: int, across: int) -> Floats:
        return padded[3 + down : 3 + down + plane.shape[0], 3 + across : 3 + across + plane.shape[1]]

    ways = ((0, 3), (3, 0), (2, 2), (2, -2))
    around = np.max([(beside(y, x) + beside(-y, -x)) / 2 for y, x in ways], axis=0)
    heights = (means - np.maximum(around, 0)) / (0.28 * max(sigma, 1e-9))
    faint = smoothstep(ndimage.maximum_filter(heights, 3, mode="nearest"), 3.3, 5.6)
    bright = smoothstep(ndimage.maximum_filter(heights, 7, mode="nearest"), 6, 9)
    lost = plane - made
    seen = smoothstep(np.abs(lost) / max(sigma, 1e-9), 0.5, 2)
    return made + np.maximum(faint, bright * seen) * lost, np.maximum(faint, bright)


def followed(
    differences: tuple[Floats, Floats],
    lumas: list[Floats],
    guides: list[Floats],
    spots: Floats | None,
    sigmas: list[float],
    strength: float,
    diagonal: float,
) -> tuple[Floats, Floats]:
    """Slopes and offsets at full size by which two colour differences follow calm luma."""
    radius = max(2.2, 8 / 1000 * diagonal)
    times = min(max(1, math.floor(math.log2(radius / 2.2))), 2, len(guides) - 1)
    tolerance = (0.57 * strength * max(sigmas[0] if sigmas else 0.0, 1e-5) / 2**times) ** 2
    fine = min(times, 1)
    sizes = [[plane, halved(plane), halved(halved(plane))] for plane in differences]
    follows = [
        guided(guides[times], each[times], max(1, round(radius / 2**times)), tolerance) for each in sizes
    ]
    slopes, offsets = (
        np.stack([grown(each[k], times - fine, guides[fine].shape) for each in follows]) for k in range(2)
    )
    if spots is not None and len(lumas) > 2:
        detail = lumas[1] - grown(lumas[2], 1, lumas[1].shape)
        tinges = np.stack([each[1] - grown(each[2], 1, each[1].shape) for each in sizes])
        noise = sigmas[1] ** 2, *(deviation(tinge, tinge.size) ** 2 for tinge in tinges)
        slopes, offsets = own_colours(spots, lumas[1], detail, tinges, noise, slopes, offsets)
    for index, each in enumerate(sizes):
        left = each[fine] - (slopes[index] * guides[fine] + offsets[index])
        nothing = np.zeros([-(-side // 2) for side in left.shape])
        offsets[index] += shrunk(left, nothing, strength, deviation(left, left.size))
    full = differences[0].shape
    return tuple(np.stack([grown(plane, fine, full) for plane in each]) for each in (slopes, offsets))
