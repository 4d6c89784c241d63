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

from calibration.metrology.forecast import Moments, moments
from calibration.metrology.shapes import AT, Shapes
from calibration.metrology.verdict import probability_of_pass
from calibration.metrology.wander import Outlook
from plant.level.checks import BadArgument, above_zero, not_below_zero

_PLACES = 9  # between the bounds at which the search looks
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
        ahead = np.broadcast_to(not_below_zero("years", years), len(self))
        means, variances = self._ends(ahead)
        noise = self.shapes.scatter + self.shapes.variance
        shape = self.shapes.mean
        limit = np.where(self.shapes.read, self.limit, np.inf)
        return probability_of_pass(AT, means, variances, shape, noise, limit)

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

        The chance may rise before it falls, so a row of places is looked at, from the first on;
        between two of them its normal quantile is nearly straight. Raises BadArgument for a chance
        outside 0 to 1, or bounds that are not in rising order above zero.
        """
        n = len(self)
        aim = np.broadcast_to(np.asarray(chance, dtype=float), n)
        low = np.broadcast_to(above_zero("lower", lower), n)
        high = np.broadcast_to(above_zero("upper", upper), n)
        if not ((aim > 0) & (aim < 1)).all():
            raise BadArgument("chance", "it must lie between 0 and 1")
        if not (low < high).all():
            raise BadArgument("lower, upper", "they are not in rising order above 0")
        return self._search(ndtri(aim), low, high)

    def _search(self, aim: np.ndarray, low: np.ndarray, high: np.ndarray) -> FirstBelow:
        years, before = low.astype(float), self._miss(low, aim)
        reached = before >= 0
        going = np.flatnonzero(reached)
        before = before[going]
        for k in range(1, _PLACES):
            start, stop = (
                low[going] + (high - low)[going] * (place / (_PLACES - 1)) ** 2
                for place in (k - 1, k)
            )
            now = self.columns(going)._miss(stop, aim[going])
            fell = now < 0
            at = going[fell]
            span = stop[fell] - start[fell]
            years[at] = start[fell] + span * before[fell] / (before[fell] - now[fell])
            going, before = going[~fell], now[~fell]
            if not going.size:
                break
        years[going] = high[going]
        capped = np.zeros(len(self), dtype=bool)
        capped[going] = True
        return FirstBelow(years, reached, capped)

    def _miss(self, years: np.ndarray, aim: np.ndarray) -> np.ndarray:
        """How far the chance lies above what is asked, in normal quantiles."""
        if not len(self):
            return np.zeros(0)
        return np.asarray(ndtri(np.clip(self.chance(years), _SURE, 1 - _SURE)) - aim)


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
