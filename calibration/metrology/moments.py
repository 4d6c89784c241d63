"""Mean, variance and fourth moment of each instrument's error as polynomials in time.

Once their coefficients are known the band of any day costs a few multiplications an instrument,
whatever the number of laws: the same band as ``wander.Outlook.next_as_found`` draws. Visits and
instruments as in wander.py; errors in % of span, time in years. Source: derived for this book.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.bands import LEAST, MOST, band_factor
from calibration.metrology.blocks import columns_of
from plant.level.checks import takes_numbers


class Moments(NamedTuple):
    """Of the true error: coefficients of rising powers of the years ahead.

    mean: 2 by N. variance: 4 by N. fourth: fourth central moment, 7 by N.
    """

    mean: np.ndarray
    variance: np.ndarray
    fourth: np.ndarray

    def columns(self, which: slice | np.ndarray) -> Moments:
        return Moments(*(columns_of(part, which) for part in self))

    @takes_numbers("u_next")
    def read_with(self, u_next: ArrayLike) -> Moments:
        """Of the next as found, read with this standard uncertainty; one, or one an instrument."""
        square = np.square(np.asarray(u_next, dtype=float))
        variance, fourth = self.variance.copy(), self.fourth.copy()
        variance[0] += square
        fourth[:4] += 6 * square * self.variance
        fourth[0] += 3 * square * square
        return Moments(self.mean, variance, fourth)

    def at(self, years: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance, one day an instrument, or one for all."""
        h = np.asarray(years, dtype=float)
        return _at(h, self.mean), _at(h, self.variance)

    def fourth_at(self, years: ArrayLike) -> np.ndarray:
        """Fourth central moment, as ``at``."""
        return _at(np.asarray(years, dtype=float), self.fourth)

    def band(self, years: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Centre and half-width of the 95 % band, one day an instrument, or one for all."""
        h = np.asarray(years, dtype=float)
        v = _at(h, self.variance)
        return self.mean[0] + h * self.mean[1], self._factor(h, v) * np.sqrt(v)

    def beyond(self, years: np.ndarray, half: np.ndarray) -> np.ndarray:
        """Whether that band meets ± half."""
        v = _at(years, self.variance)
        sd = np.sqrt(v)
        room = half - np.abs(self.mean[0] + years * self.mean[1])
        out = room <= LEAST * sd
        at = np.nonzero((room < MOST * sd) & ~out)
        if at[0].size > out.size / 2:  # here the kurtosis decides
            return np.asarray(room <= self._factor(years, v) * sd)
        if at[0].size:
            h = np.broadcast_to(years, v.shape)[at]
            out[at] = room[at] <= self.columns(at[-1])._factor(h, v[at]) * sd[at]
        return np.asarray(out)

    def _factor(self, h: np.ndarray, v: np.ndarray) -> np.ndarray:
        return band_factor(self.fourth_at(h) / (v * v) - 3)


def moments(
    weights: np.ndarray,
    levels: np.ndarray,
    level_variances: np.ndarray,
    rates: np.ndarray,
    rate_variances: np.ndarray,
    ties: np.ndarray,
    q: np.ndarray,
    changes: np.ndarray,
) -> Moments:
    """Of the mixture of these laws, as Outlook has them (J by N)."""
    m0, m1 = (weights * levels).sum(axis=0), (weights * rates).sum(axis=0)
    d0, d1 = levels - m0, rates - m1
    e0, e1, e2 = d0 * d0, 2 * d0 * d1, d1 * d1
    t0, t1, t2, t3 = level_variances + e0, q + 2 * ties + e1, rate_variances + e2, changes / 3

    def mean(values: np.ndarray) -> np.ndarray:
        return np.asarray((weights * values).sum(axis=0))

    # 3 S⁴ + 6 S² d² + d⁴ = 3 (S² + d²)² − 2 d⁴.
    fourth = np.array(
        [
            mean(3 * t0 * t0 - 2 * e0 * e0),
            mean(6 * t0 * t1 - 4 * e0 * e1),
            mean(3 * (t1 * t1 + 2 * t0 * t2) - 2 * (e1 * e1 + 2 * e0 * e2)),
            mean(6 * (t1 * t2 + t0 * t3) - 4 * e1 * e2),
            mean(3 * (t2 * t2 + 2 * t1 * t3) - 2 * e2 * e2),
            mean(6 * t2 * t3),
            mean(3 * t3 * t3),
        ]
    )
    variance = np.array([mean(t0), mean(t1), mean(t2), mean(t3)])
    return Moments(np.array([m0, m1]), variance, fourth)


def _at(years: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """A polynomial by Horner's rule, coefficients from the lowest power up."""
    value = years * coefficients[-1]
    for coefficient in coefficients[-2:0:-1]:
        value += coefficient
        value *= years
    value += coefficients[0]
    return np.asarray(value)
