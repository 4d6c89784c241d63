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
from calibration.metrology.course import Course
from calibration.metrology.drift import CannotFit
from calibration.metrology.moments import Moments
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import BadArgument, limits_size, share

LOWER, UPPER = 0.25, 5.0  # years
_CLOSE = 1e-4  # of the interval; the third power of the last step is left
_LOOKS = 6
_MOST = 0.7  # share of a block
_SEARCH = 16  # places between the bounds at which the rough answer looks
_EXACT = 96  # the same where the rough answer did not lead there
_PARTS, _TIMES = 16, 2  # then the span between two places is parted so many times


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
    known = of.moments.read_with(u)

    def one_block(part: slice) -> Longest:
        some = of.columns(part), known.columns(part), half[part], u[part]
        return _longest(*some, target, lower, upper)

    return concatenate(map_blocks(one_block, len(of)))


def _longest(
    of: Outlook,
    known: Moments,
    half: np.ndarray,
    u: np.ndarray,
    target: float,
    lower: float,
    upper: float,
) -> Longest:
    reached = _reached(of, half, u, target, lower, known)
    rough = _OneNormal(known, half).first_below(target, np.geomspace(lower, upper, _SEARCH))
    years, arrived = _sharpen(of, half, u, target, rough)
    # Mixture and normal agree that it never falls within the bounds: no need to look closer.
    capped = np.isnan(rough) | (arrived & (years > upper))
    if capped.any():
        at = np.flatnonzero(capped)
        capped[at] = _inside(of, upper, half, u, at) >= target
    years = np.where(capped, upper, years)
    open_ = reached & ~capped & ~(arrived & (years >= lower) & (years <= upper))
    if open_.any():
        at = np.flatnonzero(open_)
        years[at], capped[at] = _by_parting(
            of.columns(at), half[at], u[at], target, np.geomspace(lower, upper, _EXACT)
        )
    return Longest(np.where(reached, years, lower), reached, capped)


class _OneNormal(NamedTuple):
    """The normal of the mixture's mean and variance, and the tolerance it is held against."""

    of: Moments
    half: np.ndarray

    def is_below(self, years: ArrayLike, target: float) -> np.ndarray:
        """Whether less than ``target`` lies within; by the nearer limit alone where the other does
        not matter.
        """
        mean, variance = self.of.at(years)
        sd, size = np.sqrt(variance), np.abs(mean)
        room = self.half - size
        below = room < ndtri(target) * sd
        at = np.flatnonzero(~below & (room < ndtri((1 + target) / 2) * sd))
        far = (self.half[at] + size[at]) / sd[at]
        below[at] = ndtr(room[at] / sd[at]) - ndtr(-far) < target
        return np.asarray(below)

    def first_below(self, target: float, grid: np.ndarray) -> np.ndarray:
        """Years; NaN where it never falls below the target."""
        place = np.full(len(self.half), len(grid))
        for k in range(len(grid) - 1, 0, -1):
            place[self.is_below(grid[k], target)] = k
        falls = place < len(grid)
        place = np.minimum(place, len(grid) - 1)
        low, high = grid[place - 1], grid[place]
        for _ in range(4):
            middle = (low + high) / 2
            below = self.is_below(middle, target)
            low, high = np.where(below, low, middle), np.where(below, middle, high)
        return np.where(falls, (low + high) / 2, np.nan)


def _reached(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, lower: float, known: Moments
) -> np.ndarray:
    """Whether the shortest interval reaches the target.

    Markov's inequality settles it for most: no more than the fourth moment by room⁴ lies outside.
    """
    mean, fourth = known.mean[0] + lower * known.mean[1], known.fourth_at(lower)
    room = half - np.abs(mean)
    reached = (room > 0) & (fourth <= (1 - target) * room**2 * room**2)
    at = np.flatnonzero(~reached)
    if at.size:
        reached[at] = _inside(of, lower, half, u, at) >= target
    return reached


def _inside(
    of: Outlook, ahead: np.ndarray | float, half: np.ndarray, u: np.ndarray, at: np.ndarray
) -> np.ndarray:
    """P(next as found in tolerance) of some; of most it is quicker to look at all."""
    years = np.broadcast_to(ahead, len(of))
    if at.size > _MOST * len(of):
        return of.probability_in(years, half, u)[at]
    return of.columns(at).probability_in(years[at], half[at], u[at])


def _sharpen(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, rough: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Where the exact mixture falls below the target near the rough answer, and which have arrived.

    By Halley's rule, which leaves about the third power of what was off.
    """
    years, arrived = np.where(np.isnan(rough), 1.0, rough), ~(rough > 0)
    for _ in range(_LOOKS):
        going = np.flatnonzero(~arrived)
        if not going.size:
            break
        now, near = years[going], _course(of, years, half, u, going)
        step, miss = near.step_to(target)
        years[going] = np.clip(now + step, 0.5 * now, 2 * now)
        left = np.abs(years[going] / now - 1)
        arrived[going] = (left < _CLOSE) & (np.abs(miss) < 0.01) & (near.slope < 0)
    return years, arrived & (rough > 0)


def _course(
    of: Outlook, years: np.ndarray, half: np.ndarray, u: np.ndarray, at: np.ndarray
) -> Course:
    """Of some; of most it is quicker to look at all."""
    if at.size > _MOST * len(of):
        return Course(*(part[at] for part in Course.of(of, years, half, u)))
    return Course.of(of.columns(at), years[at], half[at], u[at])


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
    return np.where(capped, grid[-1], _between(of, half, u, target, low, high)), capped


def _between(
    of: Outlook,
    half: np.ndarray,
    u: np.ndarray,
    target: float,
    low: np.ndarray,
    high: np.ndarray,
) -> np.ndarray:
    """Where it falls below the target between two close times, by two straight lines."""

    def over(years: np.ndarray) -> np.ndarray:
        return of.probability_in(years, half, u) - target

    first, last, years = over(low), over(high), high
    for _ in range(2):
        down = first - last
        years = low + (high - low) * np.clip(first / np.where(down > 0, down, 1.0), 0, 1)
        now = over(years)
        falls = now < 0
        low, first = np.where(falls, low, years), np.where(falls, first, now)
        high, last = np.where(falls, years, high), np.where(falls, now, last)
    return years
