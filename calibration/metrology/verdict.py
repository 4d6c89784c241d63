"""Probability that the next as found passes: every reading within its limit.

A reading's error is the line between the errors at zero and span on that day, the transmitter's
shape there (shapes.py), and the scatter of a single reading. Both ends are taken as jointly normal.
Where readings scatter much, the probability is summed over nodes of both ends (Gauss and Hermite,
8 by 8); where they scatter little, each limit is an edge, which nodes would jump over, so it is
summed along rays from the middle outward. Either way readings scatter independently about them.
Source: derived for this book; acceptance limits after JCGM 106:2012, 8 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike
from scipy.special import ndtr

from calibration.metrology.blocks import map_blocks
from calibration.metrology.next_test import TOGETHER, NextTest, by_pairs, readings_of
from plant.level.checks import BadArgument, limits_size, numbers

_BLOCK = 512
_LITTLE = 1e-3  # summed probability of the readings out, below which overlaps do not matter
_FEW = 0.06  # the same, below which overlaps with the likeliest reading out are enough
_UNLIKELY = 1e-4  # a reading out with less is no limit
_QUIET = 0.15  # scatter below so many standard deviations of the ends makes the limits edges
_RAYS, _STEPS, _WIDE, _FAR = 16, 4, 3.0, 7.0
_NODES, _TURN = 8, 0.55  # turned, so that no limit runs along a row of nodes


@limits_size("limits")
def probability_of_pass(
    at: ArrayLike,
    means: ArrayLike,
    variances: ArrayLike,
    shape: ArrayLike,
    reading_variance: ArrayLike,
    limits: ArrayLike,
) -> np.ndarray:
    """Probability that all readings lie within ± their limits (N).

    at: R; share of the span. means, variances: 2 by N; of the errors at zero and span, % of span.
    shape, reading_variance, limits: R by N, as in NextTest. Raises BadArgument for a value that is
    not a number, a variance that is not above zero, or shapes that do not go together.

    >>> round(float(probability_of_pass([0, 1], [[0], [0]], [[1], [1]], [[0], [0]],
    ...     [[1], [1]], [[1.96 * 2**0.5], [99]])[0]), 2)
    0.95
    """
    test = _checked(at, means, variances, shape, reading_variance, limits)
    return pass_of(test)


def pass_of(test: NextTest) -> np.ndarray:
    """The same of a test whose numbers are known to be good."""
    return np.concatenate(map_blocks(lambda part: _pass(test.columns(part)), len(test), _BLOCK))


def rough_pass(test: NextTest) -> np.ndarray:
    """The same quickly, a little low where many fail: for a search."""
    readings = readings_of(test)
    result = np.clip(1 - (readings.above + readings.below).sum(axis=0), 0.0, 1.0)
    some = np.flatnonzero(result < 1 - _LITTLE)
    result[some] = by_pairs(test.columns(some), readings.columns(some))
    return np.asarray(np.where((test.limit > 0).all(axis=0), result, 0.0))


def _checked(at: ArrayLike, *columns: ArrayLike) -> NextTest:
    places = np.atleast_1d(numbers("at", at))
    names = ("means", "variances", "shape", "reading_variance")
    ends, spread, shape, noise = (
        numbers(name, column) for name, column in zip(names, columns, strict=False)
    )
    limit = np.asarray(columns[-1], dtype=float)
    if ends.ndim != 2 or len(ends) != 2 or spread.shape != ends.shape:
        raise BadArgument("means, variances", "one row is needed for each end")
    whole = (places.size, ends.shape[1])
    if not shape.shape == noise.shape == limit.shape == whole:
        raise BadArgument("shape, reading_variance, limits", f"each must be {whole}")
    if not ((spread > 0).all() and (noise > 0).all()):
        raise BadArgument("variances, reading_variance", "a variance must be above zero")
    if np.isnan(limit).any():
        raise BadArgument("limits", "a limit is not a number; inf where there is no reading")
    return NextTest(places, ends[0], ends[1], spread[0], spread[1], shape, noise, limit)


def _pass(test: NextTest) -> np.ndarray:
    """By the sum of the single readings, or their overlaps with the likeliest, where that is exact
    enough; else by nodes or rays.
    """
    readings = readings_of(test)
    out = readings.above + readings.below
    total = out.sum(axis=0)
    result = np.clip(1 - total, 0.0, 1.0)
    possible = (test.limit > 0).all(axis=0)
    result[~possible] = 0.0
    some = np.flatnonzero((total > _LITTLE) & (total <= _FEW) & possible)
    result[some] = by_pairs(test.columns(some), readings.columns(some))
    hard = (total > _FEW) & possible
    matters = out > _UNLIKELY
    quiet = _quiet(test, readings.line, matters)
    for which, work in ((hard & quiet, _by_rays), (hard & ~quiet, _by_nodes)):
        places = np.flatnonzero(which)
        if places.size:
            result[places] = work(test.columns(places), matters[:, places])
    return result


def _quiet(test: NextTest, ends: np.ndarray, matters: np.ndarray) -> np.ndarray:
    """Whether any limit that matters is an edge."""
    edge = test.variance < _QUIET**2 * ends
    return np.asarray((edge & matters).any(axis=0))


def _slopes(test: NextTest, first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Zero and span's deviations at points of the plane of two independent standard normals."""
    rest = np.sqrt(1 - TOGETHER**2)
    zero = np.sqrt(test.zero_variance) * first[:, None]
    span = np.sqrt(test.span_variance) * (TOGETHER * first + rest * second)[:, None]
    return zero, span


def _within(test: NextTest, r: int, error: np.ndarray, places: np.ndarray) -> np.ndarray:
    """P(reading r of these transmitters lies within its limit), its mean error being ``error``."""
    sd, limit = np.sqrt(test.variance[r, places]), test.limit[r, places]
    size = np.abs(error)
    inside = ndtr((limit - size) / sd)
    if (limit < 4 * sd).any():  # the other limit is near too
        inside -= ndtr((-limit - size) / sd)
    return np.asarray(inside)


def _by_nodes(test: NextTest, matters: np.ndarray) -> np.ndarray:
    points, weight = _nodes()
    zero, span = _slopes(test, *points)
    inside = np.ones(zero.shape)
    for r, x in enumerate(test.at):
        at = np.flatnonzero(matters[r])
        if at.size:
            mean = (1 - x) * test.zero[at] + x * test.span[at] + test.shape[r, at]
            error = mean + (1 - x) * zero[:, at] + x * span[:, at]
            inside[:, at] *= _within(test, r, error, at)
    return np.asarray(weight @ inside)


def _nodes() -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Nodes of two independent standard normals, and their weights; the least are left out."""
    node, weight = hermegauss(_NODES)
    a, b = (part.ravel() for part in np.meshgrid(node, node))
    w = np.outer(weight, weight).ravel() / weight.sum() ** 2
    kept = w > 1e-5
    a, b, w = a[kept], b[kept], w[kept] / w[kept].sum()
    c, s = np.cos(_TURN), np.sin(_TURN)
    return (c * a - s * b, s * a + c * b), w


def _by_rays(test: NextTest, matters: np.ndarray) -> np.ndarray:
    """Along each ray: inside up to where the first limit begins to matter, then a few steps until
    nothing is left; the distance from the middle follows a Rayleigh distribution.
    """
    angle = (np.arange(_RAYS) + 0.5) * 2 * np.pi / _RAYS
    zero, span = _slopes(test, np.cos(angle), np.sin(angle))
    near, far = _window(test, zero, span, matters)
    distance, weight = _steps(near, far)
    inside = np.ones(distance.shape)
    for r, x in enumerate(test.at):
        at = np.flatnonzero(matters[r])
        if at.size:
            mean = (1 - x) * test.zero[at] + x * test.span[at] + test.shape[r, at]
            slope = (1 - x) * zero[:, at] + x * span[:, at]
            inside[:, :, at] *= _within(test, r, mean + distance[:, :, at] * slope, at)
    return np.asarray((weight * inside).sum(axis=0).mean(axis=0))


def _window(
    test: NextTest, zero: np.ndarray, span: np.ndarray, matters: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Where along each ray the first limit begins to matter, and where nothing is left inside."""
    near = far = np.full(zero.shape, _FAR)
    for r, x in enumerate(test.at):
        mean = (1 - x) * test.zero + x * test.span + test.shape[r]
        slope = (1 - x) * zero + x * span
        size = np.maximum(np.abs(slope), 1e-9)
        room = np.where(matters[r], test.limit[r] - np.sign(slope) * mean, np.inf)
        wide = _WIDE * np.sqrt(test.variance[r])
        near = np.minimum(near, (room - wide) / size)
        far = np.minimum(far, (room + wide) / size)
    near = np.clip(near, 0.0, _FAR)
    return near, np.clip(far, near, _FAR)


def _steps(near: np.ndarray, far: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distances along the rays and their weights, steps first."""
    node, weight = leggauss(_STEPS)
    half = (far - near) / 2
    distance = near + half * (node[:, None, None] + 1)
    density = distance * np.exp(-distance * distance / 2) * half * weight[:, None, None]
    whole = -np.expm1(-near * near / 2)
    return np.concatenate([0.6 * near[None], distance]), np.concatenate([whole[None], density])
