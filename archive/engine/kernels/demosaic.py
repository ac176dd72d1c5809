"""Mosaic → full-size planes: green along the smoother direction, then colours as differences to green.

Missing green is estimated across and along with the curvature of the colour that is there, the two weighted
by how little each direction changes; red and blue follow from interpolated differences to green, which vary
slowly. Both hold of light that is balanced nearly: where red and blue are half as strong as green, half its
curvature is lost, and every star has a core of false colour.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel

_HALF, _QUARTER, _TWO = np.float32(0.5), np.float32(0.25), np.float32(2)
# How much of its own curvature a sample lends the green that is missing there.
_BEND = np.float32(0.1875)


@kernel
def normalise(mosaic, blacks, scales, caps, out, first, last):  # type: ignore[no-untyped-def]
    """Counts → light inside the four-sample rim of ``out``, float32, (height + 8, width + 8)."""
    width = mosaic.shape[1]
    for row in range(first, last):
        even = 2 * (row & 1)
        source = mosaic[row]
        target = out[row + 4]
        for column in range(width):
            place = even + (column & 1)
            target[column + 4] = min(
                (np.float32(source[column]) - blacks[place]) * scales[place], caps[place]
            )


@kernel
def mirror(padded):  # type: ignore[no-untyped-def]
    """Fill the four-sample rim of a padded mosaic by reflection, which keeps the colour pattern going."""
    height = padded.shape[0] - 8
    width = padded.shape[1] - 8
    for k in range(1, 5):
        left = 4 + _reflected(-k, width)
        right = 4 + _reflected(width - 1 + k, width)
        for row in range(4, height + 4):
            padded[row, 4 - k] = padded[row, left]
            padded[row, width + 3 + k] = padded[row, right]
    for k in range(1, 5):
        above, below = padded[4 + _reflected(-k, height)], padded[4 + _reflected(height - 1 + k, height)]
        # Column by column: assigning whole rows takes two seconds to compile.
        for column in range(padded.shape[1]):
            padded[4 - k, column] = above[column]
            padded[height + 3 + k, column] = below[column]


@inlined
def _reflected(place, count):  # type: ignore[no-untyped-def]
    period = 2 * (count - 1)
    place = place % period
    return place if place < count else period - place


@kernel
def green(padded, channels, noise, out, first, last):  # type: ignore[no-untyped-def]
    """Green at every sample of the padded mosaic, two samples inside its rim.

    noise : float32, a variation (squared) too small to tell a direction. out : float32, as padded.
    first, last : rows of the padded mosaic; its two outermost are left out.
    """
    rows = padded.shape[0]
    columns = padded.shape[1]
    for row in range(max(first, 2), min(last, rows - 2)):
        above2, above, here = padded[row - 2], padded[row - 1], padded[row]
        below, below2 = padded[row + 1], padded[row + 2]
        target = out[row]
        pattern = 2 * (row & 1)
        for column in range(2, columns - 2):
            x = np.uintp(column)
            left, right = np.uintp(column - 1), np.uintp(column + 1)
            centre = here[x]
            bend_across = _TWO * centre - here[np.uintp(column - 2)] - here[np.uintp(column + 2)]
            bend_down = _TWO * centre - above2[x] - below2[x]
            change_across = abs(here[left] - here[right]) + abs(bend_across)
            change_across += _HALF * (abs(above[left] - above[right]) + abs(below[left] - below[right]))
            change_down = abs(above[x] - below[x]) + abs(bend_down)
            change_down += _HALF * (abs(above[left] - below[left]) + abs(above[right] - below[right]))
            across = _HALF * (here[left] + here[right]) + _BEND * bend_across
            down = _HALF * (above[x] + below[x]) + _BEND * bend_down
            for_across = change_down * change_down + noise
            for_down = change_across * change_across + noise
            target[x] = (across * for_across + down * for_down) / (for_across + for_down)
        for column in range(2, columns - 2):
            if channels[pattern + (column & 1)] == 1:
                target[np.uintp(column)] = here[np.uintp(column)]


@kernel
def colours(padded, greens, channels, shares, out, first, last):  # type: ignore[no-untyped-def]
    """All three planes from the padded mosaic and its greens, red and blue less by their shares.

    shares, out : float32, (3,) and (3, height, width).
    """
    width = out.shape[2]
    # Differences to green of three rows: 0 where the sample is green itself.
    differences = np.zeros((3, width + 8), np.float32)
    across = np.empty(width, np.float32)
    down = np.empty(width, np.float32)
    slanted = np.empty(width, np.float32)
    for row in range(first, last):
        for j in range(3):
            raw, green_line, difference = padded[row + 3 + j], greens[row + 3 + j], differences[j]
            for column in range(2, width + 6):
                x = np.uintp(column)
                difference[x] = raw[x] - green_line[x]
        above, here, below = differences[0], differences[1], differences[2]
        for column in range(width):
            x, left, right = np.uintp(column + 4), np.uintp(column + 3), np.uintp(column + 5)
            across[np.uintp(column)] = _HALF * (here[left] + here[right])
            down[np.uintp(column)] = _HALF * (above[x] + below[x])
            corners = (above[left] + above[right]) + (below[left] + below[right])
            slanted[np.uintp(column)] = _QUARTER * corners
        green_line = greens[row + 4]
        target = out[1, row]
        for column in range(width):
            target[np.uintp(column)] = green_line[np.uintp(column + 4)]
        pattern = 2 * (row & 1)
        for phase in range(2):
            channel = channels[pattern + phase]
            beside = channels[pattern + 1 - phase]
            if channel == 1:
                same, other = out[beside, row], out[2 - beside, row]
                _place(same, target, across, phase, shares[beside])
                _place(other, target, down, phase, shares[2 - beside])
            else:
                same, other = out[channel, row], out[2 - channel, row]
                _place(same, target, here[4:], phase, shares[channel])
                _place(other, target, slanted, phase, shares[2 - channel])


@kernel
def _place(line, base, difference, phase, share):  # type: ignore[no-untyped-def]
    """A share of base + difference at every second column."""
    for column in range(phase, line.shape[0], 2):
        x = np.uintp(column)
        line[x] = share * (base[x] + difference[x])
