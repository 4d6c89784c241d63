"""The longest interval for which the next as found is likely enough to be in tolerance.

The as-found reading decides, not the true error, since later visits can check it.
Source: derived for this book.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from calibration.metrology.blocks import concatenate, map_blocks
from calibration.metrology.drift import CannotFit
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import BadArgument, limits_size, share

LOWER, UPPER = 0.25, 5.0  # years
_SEARCH = 16  # places between the bounds at which the rough answer looks
_EXACT = 96  # the same where the rough answer did not lead there
_PARTS, _TIMES = 16, 8  # then the span between two places is parted so many times


class Longest(NamedTuple):
    """The longest interval that reaches the target, within the bounds; one place an instrument.

    reached: False where not even the shortest interval reaches it. capped: the target is still
    reached at the upper bound.
    """

    years: np.ndarray
    reached: np.ndarray
    capped: np.ndarray


@limits_size("tolerance", "u_next", "upper")
def longest(
    of: Outlook,
    tolerance: ArrayLike,
    u_next: ArrayLike,
    *,
    target: float = 0.95,
    lower: float = LOWER,
    upper: float = UPPER,
) -> Longest:
    """First time after the lower bound at which P(next as found in tolerance) falls below target.

    N places. P may rise before it falls, so the first fall counts, not the last. Raises
    BadArgument for a target outside 0 to 1, bounds that are not 0 < lower < upper, or a tolerance
    not above zero.
    """
    share("target", target)
    if not (0 < lower < upper and math.isfinite(upper)):
        raise BadArgument(
            "lower, upper", f"{lower} and {upper} years are not in rising order above 0"
        )
    half = np.broadcast_to(checked_tolerance(tolerance), len(of))
    u = np.broadcast_to(np.asarray(u_next, dtype=float), len(of))
    if not (np.isfinite(u) & (u >= 0)).all():
        raise CannotFit("u_next", "it must be a number not below zero")
    return concatenate(
        map_blocks(
            lambda part: _longest(of.columns(part), half[part], u[part], target, lower, upper),
            len(of),
        )
    )


def _longest(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, lower: float, upper: float
) -> Longest:
    reached = of.probability_in(lower, half, u) >= target
    rough = _rough(of, half, u, target, np.geomspace(lower, upper, _SEARCH))
    years, arrived = _sharpen(of, half, u, target, rough)
    # Mixture and normal agree that it never falls: no need to look closer.
    capped = np.isnan(rough)
    if capped.any():
        at = np.flatnonzero(capped)
        capped[at] = of.columns(at).probability_in(upper, half[at], u[at]) >= target
    years = np.where(capped, upper, years)
    open_ = reached & ~capped & ~(arrived & (years >= lower) & (years <= upper))
    if open_.any():
        at = np.flatnonzero(open_)
        years[at], capped[at] = _by_parting(
            of.columns(at), half[at], u[at], target, np.geomspace(lower, upper, _EXACT)
        )
    return Longest(np.where(reached, years, lower), reached, capped)


def _rough(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, grid: np.ndarray
) -> np.ndarray:
    """The answer for one normal of the mixture's mean and variance.

    NaN where it never falls below the target. Mean and variance of the mixture are a line and a
    cubic in time, so that no value of q is looked at again.
    """
    w = of.weights
    m0, m1 = (w * of.levels).sum(axis=0), (w * of.rates).sum(axis=0)
    off0, off1 = of.levels - m0, of.rates - m1
    v0 = (w * (of.level_variances + off0**2)).sum(axis=0) + u**2
    v1 = (w * (of.q + 2 * (of.ties + off0 * off1))).sum(axis=0)
    v2 = (w * (of.rate_variances + off1**2)).sum(axis=0)
    v3 = (w * of.changes).sum(axis=0) / 3

    def inside(h: np.ndarray) -> np.ndarray:
        sd, mean = np.sqrt(v0 + h * (v1 + h * (v2 + h * v3))), m0 + m1 * h
        return ndtr((half - mean) / sd) - ndtr((-half - mean) / sd)

    place = np.full(len(of), len(grid))
    for k in range(len(grid) - 1, 0, -1):
        place[inside(grid[k]) < target] = k
    falls = place < len(grid)
    low, high = grid[np.minimum(place, len(grid) - 1) - 1], grid[np.minimum(place, len(grid) - 1)]
    for _ in range(4):
        middle = (low + high) / 2
        below = inside(middle) < target
        low, high = np.where(below, low, middle), np.where(below, middle, high)
    return np.where(falls, (low + high) / 2, np.nan)


def _sharpen(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, rough: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Secant iterations on the exact mixture, and which have arrived.

    In normal quantiles, where it is nearly straight.
    """
    years = np.where(np.isnan(rough), 1.0, rough)
    aim = ndtri(target)

    def miss(h: np.ndarray, at: np.ndarray | slice) -> np.ndarray:
        likely = of.columns(at).probability_in(h, half[at], u[at])
        return np.asarray(ndtri(np.clip(likely, 1e-12, 1 - 1e-12)) - aim)

    every = slice(None)
    before, at_before = years.copy(), miss(years, every)
    years = years * np.clip(1 + 0.5 * at_before, 0.7, 1.3)
    arrived = np.zeros(len(of), dtype=bool)
    going: np.ndarray | slice = every
    for _ in range(5):
        now = miss(years[going], going)
        moved = now != at_before[going]
        by = np.where(moved, now - at_before[going], 1.0)
        step = np.where(moved, now * (years[going] - before[going]) / by, 0.0)
        before[going], at_before[going] = years[going], now
        years[going] = np.clip(years[going] - step, 0.5 * years[going], 2 * years[going])
        # The last iteration squared the error before it.
        arrived = (np.abs(at_before) < 1e-5) & (np.abs(years - before) < 1e-4)
        going = np.flatnonzero(~arrived & ~np.isnan(rough))
        if not going.size:
            break
    return years, arrived & ~np.isnan(rough)


def _by_parting(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, grid: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The slow and certain way: exact values along a grid, then parting.

    And where it never falls below the target.
    """
    below = of.probability_in(grid[:, None], half, u) < target
    place = np.maximum(below.argmax(axis=0), 1)
    low, high = grid[place - 1], grid[place]
    shares = np.arange(1, _PARTS)[:, None] / _PARTS
    for _ in range(_TIMES):
        cuts = np.vstack([low + (high - low) * shares, high])
        falls = of.probability_in(cuts[:-1], half, u) < target
        first = np.where(falls.any(axis=0), falls.argmax(axis=0), _PARTS - 1)
        along = np.arange(len(first))
        low, high = np.where(first > 0, cuts[first - 1, along], low), cuts[first, along]
    capped = np.asarray(~below.any(axis=0))
    return np.where(capped, grid[-1], high), capped
