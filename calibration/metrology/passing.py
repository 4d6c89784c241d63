"""The chance of passing of many transmitters as time goes by: drift of both ends, shape and scatter
of the readings, and the decision rule's limits together.

Source: derived for this book; simulated fleets in tests/bench/verdicts.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from calibration.metrology.blocks import columns_of, concatenate, map_blocks
from calibration.metrology.longest_interval import Longest
from calibration.metrology.moments import Moments
from calibration.metrology.neighbours import by_neighbours
from calibration.metrology.next_test import NextTest, Readings
from calibration.metrology.shapes import AT, Shapes
from calibration.metrology.verdict import pass_of
from calibration.metrology.wander import Outlook
from plant.level.checks import BadArgument, above_zero, not_below_zero

_PLACES = 8  # between the bounds at which the search looks
_CLOSE, _TIMES = 0.003, 6  # how far off a chance may be for the next step to be the last
_SURE = 1e-9


class _Fall(NamedTuple):
    """About when a chance first falls, and by how much a year in normal quantiles; 0 where it does
    not fall between the bounds: years is then the lower one if it lies below from the start, else
    the upper.
    """

    years: np.ndarray
    slope: np.ndarray


@dataclass(frozen=True)
class Passing:
    """M transmitters. zero, span: moments of the true errors of the ends. gone: 2 by M; years from
    the last visit of each end to the day from which time is counted. shared: 2 by M; variance of
    what the coming readings at each end have in common. readings: one a place.
    """

    zero: Moments
    span: Moments
    gone: np.ndarray
    shared: np.ndarray
    readings: Readings

    def __len__(self) -> int:
        return self.gone.shape[1]

    def columns(self, which: Any) -> Passing:
        return Passing(
            self.zero.columns(which),
            self.span.columns(which),
            columns_of(self.gone, which),
            columns_of(self.shared, which),
            self.readings.columns(which),
        )

    def chance(self, years: ArrayLike) -> np.ndarray:
        """Probability that the next as found passes so many years ahead; one, or M.

        Raises BadArgument for years below zero.
        """
        ahead = np.broadcast_to(not_below_zero("years", years), len(self))
        parts = map_blocks(lambda part: self.columns(part)._chance(ahead[part]), len(self))
        return np.concatenate(parts)

    def _chance(self, ahead: np.ndarray) -> np.ndarray:
        return pass_of(self._test(ahead))

    def _by_neighbours(self, ahead: np.ndarray) -> np.ndarray:
        return by_neighbours(self._test(ahead))

    def _test(self, ahead: np.ndarray) -> NextTest:
        zero, of_zero = self.zero.at(ahead + self.gone[0])
        span, of_span = self.span.at(ahead + self.gone[1])
        shared = self.shared
        return NextTest(zero, span, of_zero + shared[0], of_span + shared[1], self.readings)

    def first_below(self, chance: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> Longest:
        """First time from ``lower`` to ``upper`` years at which the chance falls below ``chance``;
        each one, or M.

        To within 0.002 of the chance. It may rise before it falls, so a row of places is looked
        at, from the first on. Raises BadArgument for a chance outside 0 to 1, or bounds that are
        not in rising order above zero.
        """
        n = len(self)
        aim = np.broadcast_to(np.asarray(chance, dtype=float), n)
        low = np.broadcast_to(above_zero("lower", lower), n)
        high = np.broadcast_to(above_zero("upper", upper), n)
        if not ((aim > 0) & (aim < 1)).all():
            raise BadArgument("chance", "it must lie between 0 and 1")
        if not (low < high).all():
            raise BadArgument("lower, upper", "they are not in rising order above 0")
        parts = map_blocks(
            lambda part: self.columns(part)._first_below(aim[part], low[part], high[part]), n
        )
        return concatenate(parts)

    def _first_below(self, aim: np.ndarray, low: np.ndarray, high: np.ndarray) -> Longest:
        years, slope = self._first_fall(ndtri(aim), low, high)
        at = np.flatnonzero(slope > 0)
        some, fall = self.columns(at), _Fall(years[at], slope[at])
        for chance in (Passing._by_neighbours, Passing._chance):  # the quick one first
            fall = some._closer(chance, fall, aim[at], low[at], high[at])
        reached, capped = np.ones(len(self), dtype=bool), np.zeros(len(self), dtype=bool)
        ends = np.flatnonzero(slope <= 0)
        inside = self.columns(ends)._chance(years[ends]) >= aim[ends]
        is_last = years[ends] >= high[ends]
        reached[ends], capped[ends] = inside | is_last, inside & is_last
        years[at] = fall.years
        return Longest(years, reached, capped)

    def _first_fall(self, aim: np.ndarray, low: np.ndarray, high: np.ndarray) -> _Fall:
        """From neighbour to neighbour, at a row of places; aim in normal quantiles."""
        years, slope = high.astype(float), np.zeros(len(self))
        going, above, before = np.arange(len(self)), np.zeros(0), low
        for k in range(_PLACES):
            now = low + (high - low) * (k / (_PLACES - 1)) ** 2
            miss = _quantile(self.columns(going)._by_neighbours(now[going])) - aim[going]
            fell = miss < 0
            at = going[fell]
            if k:
                slope[at] = (above - miss)[fell] / (now - before)[at]
                years[at] = now[at] + miss[fell] / slope[at]
            else:
                years[at] = low[at]
            going, above, before = going[~fell], miss[~fell], now
        return _Fall(years, slope)

    def _closer(
        self,
        chance_of: Callable[[Passing, np.ndarray], np.ndarray],
        fall: _Fall,
        aim: np.ndarray,
        low: np.ndarray,
        high: np.ndarray,
    ) -> _Fall:
        """By secants of this chance, in normal quantiles, where it is nearly straight."""
        years, slope = (part.copy() for part in fall)
        before, missed = years.copy(), np.zeros(len(self))
        going, quantile = np.arange(len(self)), ndtri(aim)
        for _ in range(_TIMES):
            now, chance = years[going], chance_of(self.columns(going), years[going])
            miss, moved = _quantile(chance) - quantile[going], now - before[going]
            secant = (missed[going] - miss) / np.where(moved != 0, moved, np.inf)
            slope[going] = np.where(secant > 0, secant, slope[going])
            before[going], missed[going] = now, miss
            years[going] = np.clip(now + miss / slope[going], low[going], high[going])
            going = going[np.abs(chance - aim[going]) > _CLOSE]
            if not going.size:
                break
        return _Fall(years, slope)


def _quantile(chance: np.ndarray) -> np.ndarray:
    return np.asarray(ndtri(np.clip(chance, _SURE, 1 - _SURE)))


def passing(
    zero: Outlook,
    span: Outlook,
    shapes: Shapes,
    *,
    tolerance: ArrayLike,
    u: ArrayLike,
    guard: ArrayLike = 0.0,
    risk: ArrayLike = 0.0,
    gone: ArrayLike = 0.0,
) -> Passing:
    """Of M transmitters whose ends have these outlooks.

    tolerance: half-width, % of span. u: 2 by M; standard uncertainty of the coming reading at each
    end. guard: width of the guard band in standard uncertainties; risk: of a false accept that is
    allowed, 0 where the rule is another. gone: 2 by M, as in Passing. Raises BadArgument for a
    tolerance or u not above zero, a guard below zero, or a risk outside 0 to 0.5.
    """
    half, spread = above_zero("tolerance", tolerance), above_zero("u", u)
    allowed = np.asarray(risk, dtype=float)
    if not ((allowed >= 0) & (allowed < 0.5)).all():
        raise BadArgument("risk", "it must lie between 0 and 0.5")
    by_risk = -ndtri(np.where(allowed > 0, allowed, 0.5))  # zero where the rule is another
    width = not_below_zero("guard", guard) + by_risk
    at = AT[:, None]
    limit = half - width * ((1 - at) * spread[0] + at * spread[1])
    years = np.broadcast_to(not_below_zero("gone", gone), (2, limit.shape[1]))
    readings = Readings(
        AT, shapes.mean, shapes.scatter + shapes.variance, np.where(shapes.read, limit, np.inf)
    )
    # What each reading scatters by itself is counted reading by reading.
    shared = np.maximum(spread**2 - shapes.scatter, spread**2 / 16)
    return Passing(zero.moments, span.moments, years, shared, readings.by_place())
