"""What the steadiest part of a picture takes of the sky's own changes: snow is lit by aurora too.

Flicker brightens every part and every colour of a frame by as many stops; the sky's light does not. So what
no flicker is in, the sky's course against the land's and the land's own colour, has the shape of the light
that the land takes. How much that is, regression finds, as flicker comes and goes at random. Where sky, land
and all colours change by the same stops, nothing but the time they take tells light from flicker.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from archive.engine.courses import curved, scatter, without_lamps

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

LIKELY_STEP = 0.1
"""By how much, in stops, settings as written differ from what they do: files round them to thirds."""

_FLOOR = 2.0**-16
_TURNS, _CLOSER = 20, 0.8
_SMOOTH = 7
_LEAST, _LEAST_COURSE = 0.003, 0.01
_RISES = np.arange(1, 161) * 0.025
_SHARES = np.arange(1, 61) * 0.01
_MOST = 52
_SLOW_TERM = 120
_PRICE = 1.5
_FRAMES_A_TERM = 4


def shared_course(
    colours: Floats, steady: Floats, chosen: Indices, others: Indices, jumps: Indices
) -> Floats:
    """The part of the steady cells' course that is the sky's light, in stops; 0 where nothing speaks for it.

    Parameters
    ----------
    colours : float64, (3, frames, cells), log2 of red, green, blue light; one without light is not measured.
    steady : float64, (frames,), the course of the chosen cells in stops, settings taken off.
    chosen, others : the steady cells, and those of the rest that are bright enough to be measured.
    jumps : the frames at which settings changed.
    """
    green = colours[1][:, chosen]
    accounts: list[Floats] = []
    if len(others):
        own = np.median(green - np.median(green, axis=0), axis=1)
        sky = _tidied(_common(colours[1][:, others] - own[:, None]))
        if float(np.ptp(sky)) > _LEAST_COURSE:
            # Or as many of the stops, be there one light or several. What the land takes nearly all of is
            # not to be told from the little that it does not: an error there would grow with it.
            accounts += [_accounts(sky)[0][:, :_MOST], sky[:, None] * (_SHARES / (1 - _SHARES))]
    for other in (colours[0][:, chosen], colours[2][:, chosen]):
        if other.min() > math.log2(_FLOOR):
            ratio = other - green
            witness = _tidied(np.median(ratio - np.median(ratio, axis=0), axis=1))
            if float(np.ptp(witness)) > _LEAST_COURSE:
                accounts += _accounts(witness)
    return _explained(steady, accounts, jumps) if accounts else np.zeros(len(steady))


def _common(courses: Floats) -> Floats:
    """What courses have in common, each by its own share, whatever passes through some of them.

    One factor by alternating least squares. Arcs and clouds pass through cells in turn: weights that fall
    with a misfit's fourth power, ever closer to what cells vary by from frame to frame, leave them out.
    """
    finest = max(3 * scatter(np.diff(courses, axis=0)), 0.002)
    base = np.median(courses, axis=0)
    course = np.median(courses - base, axis=1)
    share = np.ones(courses.shape[1])
    reach = 0.5 * float(np.median(np.abs(courses - base - course[:, None])))
    for turn in range(_TURNS):
        misfit = courses - base - course[:, None] * share
        weights = (1 + (misfit / max(finest, reach * _CLOSER**turn)) ** 2) ** -2
        course = (weights * (courses - base) * share).sum(axis=1)
        course /= np.maximum((weights * share**2).sum(axis=1), 1e-12)
        course -= np.median(course)
        total = weights.sum(axis=0)
        middle = (weights * courses).sum(axis=0) / total
        mean = (weights * course[:, None]).sum(axis=0) / total
        rest = course[:, None] - mean
        share = (weights * (courses - middle) * rest).sum(axis=0)
        share = np.clip(share / np.maximum((weights * rest**2).sum(axis=0), 1e-12), 0, 2)
        base = middle - share * mean
        size = math.sqrt(float((share**2).mean()))
        if size < 1e-6:
            return np.zeros(len(courses))
        share, course = share / size, course * size
    return course


def _tidied(course: Floats) -> Floats:
    """A course without what passing lamps add to it, and without its noise."""
    return curved(without_lamps(course), min(_SMOOTH, (len(course) - 1) // 2 * 2 + 1))


def _explained(steady: Floats, accounts: list[Floats], jumps: Indices) -> Floats:
    """The mean of the accounts that explain a course best, by the weights of Schwarz (1978).

    ``accounts`` are float64, (frames, trials): how the course would be, by one number from trial to trial.
    Slow polynomials and jumps of settings beside it explain what is theirs.
    """
    count = len(steady)
    noise = scatter(np.delete(np.diff(steady), jumps - 1))
    slow = np.polynomial.legendre.legvander(np.linspace(-1, 1, count), 3 + count // _SLOW_TERM)
    # Where settings change all the time, what they leave is as good as flicker.
    named = jumps if len(jumps) <= count // 8 else jumps[:0]
    beside = np.concatenate([np.arange(count)[:, None] >= named, slow], axis=1).astype(float)
    if _FRAMES_A_TERM * beside.shape[1] > count:
        return np.zeros(count)
    known = np.diag([max(noise, _LEAST) / LIKELY_STEP] * len(named) + [0.0] * slow.shape[1])
    basis = np.linalg.qr(np.concatenate([beside, known]))[0][:count]
    trials = np.concatenate([np.zeros((count, 1)), *accounts], axis=1)
    rest = without_lamps(steady)[:, None] - trials
    # What no slow course explains, in all trials at once; the prior of the steps has part in it.
    misfit = (rest**2).sum(axis=0) - ((basis.T @ rest) ** 2).sum(axis=0)
    score = count * np.log(np.maximum(misfit / count, _LEAST**2)) + _PRICE * math.log(count)
    score[0] -= _PRICE * math.log(count)
    # Accounts that explain it as well as the best share in the answer, each by its likelihood.
    likely = np.exp((score.min() - score) / 2)
    course = trials @ (likely / likely.sum())
    return np.asarray(course - np.median(course))


def _accounts(witness: Floats) -> list[Floats]:
    """How a course may change whose ratio to another's, log2, is the witness: float64, (frames, trials) each.

    Light adds up. Where the own light is 1 + k x and the other's 1 + x, the own is as 1 / (1 - c r), r their
    ratio and x whatever it be; where the own takes more, as r / (1 - c r), r turned. One c is right.
    """
    rises = 1 - 2.0**-_RISES
    ratio = 2 ** (witness - witness.max())[:, None]
    turned = 2 ** (witness.min() - witness)[:, None]
    return [-np.log2(1 - rises * ratio), np.log2(turned) - np.log2(1 - rises * turned)]
