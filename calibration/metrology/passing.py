"""The chance of passing of many transmitters as time goes by: drift of both ends, shape and scatter
of the readings, and the decision rule's limits together.

Source: derived for this book; simulated fleets in tests/bench/verdicts.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from calibration.metrology.blocks import concatenate, map_blocks
from calibration.metrology.forecast import Moments, moments
from calibration.metrology.next_test import NextTest, readings_of
from calibration.metrology.shapes import AT, Shapes
from calibration.metrology.verdict import pass_of, rough_pass
from calibration.metrology.wander import Outlook
from plant.level.checks import BadArgument, above_zero, not_below_zero

_PLACES = 8  # between the bounds at which the search looks
_SURE = 1e-9


class FirstBelow(NamedTuple):
    """years: when the chance first falls below what is asked. reached: it does not lie below from
    the start. capped: it has not fallen by the end; years is then the end.
    """

    years: np.ndarray
    reached: np.ndarray
    capped: np.ndarray


@dataclass(frozen=True)
class Passing:
    """M transmitters. zero, span: moments of the true errors of the ends. gone: 2 by M; years from
    the last visit of each end to the day from which time is counted. u: 2 by M; standard
    uncertainty of the coming reading. limit: 9 by M; the largest error accepted at each position.
    """

    zero: Moments
    span: Moments
    gone: np.ndarray
    u: np.ndarray
    shapes: Shapes
    limit: np.ndarray

    def __len__(self) -> int:
        return self.limit.shape[1]

    def columns(self, which: Any) -> Passing:
        shapes = self.shapes
        return Passing(
            self.zero.columns(which),
            self.span.columns(which),
            self.gone[:, which],
            self.u[:, which],
            Shapes(
                shapes.mean[:, which],
                shapes.variance[:, which],
                shapes.scatter[which],
                shapes.read[:, which],
            ),
            self.limit[:, which],
        )

    def chance(self, years: ArrayLike) -> np.ndarray:
        """Probability that the next as found passes so many years ahead; one, or M.

        Raises BadArgument for years below zero.
        """
        return pass_of(self._test(np.broadcast_to(not_below_zero("years", years), len(self))))

    def _test(self, ahead: np.ndarray) -> NextTest:
        (zero, span), (of_zero, of_span) = self._ends(ahead)
        shapes = self.shapes
        noise = shapes.scatter + shapes.variance
        limit = np.where(shapes.read, self.limit, np.inf)
        return NextTest(AT, zero, span, of_zero, of_span, shapes.mean, noise, limit)

    def _ends(self, ahead: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of both ends, with what the readings of one visit share of their
        error; what each scatters by itself is counted reading by reading.
        """
        means, variances = [], []
        for end, of in enumerate((self.zero, self.span)):
            mean, variance = of.at(ahead + self.gone[end])
            square = self.u[end] ** 2
            shared = np.maximum(square - self.shapes.scatter, square / 16)
            means.append(mean)
            variances.append(variance + shared)
        return np.array(means), np.array(variances)

    def first_below(self, chance: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> FirstBelow:
        """First time from ``lower`` to ``upper`` years at which the chance falls below ``chance``;
        each one, or M.

        The chance may rise before it falls, so a row of places is looked at, from the first on.
        There the sum of all readings out and the likeliest one of them bound the time from both
        sides; between these the normal quantile of the chance is nearly straight. Raises
        BadArgument for a chance outside 0 to 1, or bounds that are not in rising order above zero.
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
            lambda part: self.columns(part)._search(ndtri(aim[part]), low[part], high[part]), n
        )
        return concatenate(parts)

    def _search(self, aim: np.ndarray, low: np.ndarray, high: np.ndarray) -> FirstBelow:
        first, last = self._bracket(aim, low, high)
        at_first, at_last = self._miss(first, aim), self._miss(last, aim)
        reached = (first > low) | (at_first >= 0)
        capped = reached & (last >= high) & (at_last >= 0)
        falls = at_first - at_last
        part = np.where(falls > 0, at_first / np.where(falls > 0, falls, 1.0), 0.0)
        years = first + (last - first) * np.clip(part, 0.0, 1.0)
        slope = (last - first) / np.where(falls > 0, falls, np.inf)
        at = np.flatnonzero(reached & ~capped & (slope > 0))
        if at.size:  # one step of the exact chance
            exact = _quantile(self.columns(at).chance(years[at])) - aim[at]
            years[at] = np.clip(years[at] + slope[at] * exact, first[at], last[at])
        return FirstBelow(np.where(capped, high, np.where(reached, years, low)), reached, capped)

    def _bracket(
        self, aim: np.ndarray, low: np.ndarray, high: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """When the lower bound of the chance first falls below what is asked, and the upper."""
        found = [high.astype(float), high.astype(float)]
        going = [np.arange(len(self))] * 2
        before = [np.zeros(0)] * 2
        start = low
        for k in range(_PLACES):
            stop = low + (high - low) * (k / (_PLACES - 1)) ** 2
            active = going[1]  # the upper bound falls last
            if not active.size:
                break
            now = self._bounds(active, stop, aim)
            for side in (0, 1):
                here = now[side][np.searchsorted(active, going[side])]
                fell = here < 0
                at = going[side][fell]
                share = before[side][fell] / (before[side][fell] - here[fell]) if k else 0.0
                found[side][at] = start[at] + (stop - start)[at] * share
                going[side], before[side] = going[side][~fell], here[~fell]
            start = stop
        return found[0], found[1]

    def _bounds(
        self, active: np.ndarray, years: np.ndarray, aim: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """How far the lower and the upper bound of the chance lie above what is asked, in normal
        quantiles.
        """
        some = self if active.size == len(self) else self.columns(active)
        readings = readings_of(some._test(years[active]))
        out = readings.above + readings.below
        total, most = out.sum(axis=0), out.max(axis=0)
        return _quantile(1 - total) - aim[active], _quantile(1 - most) - aim[active]

    def _miss(self, years: np.ndarray, aim: np.ndarray) -> np.ndarray:
        """How far the chance lies above what is asked, in normal quantiles."""
        return np.asarray(_quantile(rough_pass(self._test(years))) - aim)


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
    return Passing(moments(zero), moments(span), years, spread, shapes, limit)
