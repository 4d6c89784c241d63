"""Rate of each instrument of a fleet, and when its band meets the tolerance.

Mean, variance and fourth moment of the mixture are polynomials in time. Once their coefficients
are known the band of any day costs a few multiplications an instrument, whatever the number of
values of q: the same band as ``wander.Outlook.next_as_found`` draws. Visits and instruments as in
wander.py; errors in % of span, time in years.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from calibration.metrology.blocks import concatenate, map_blocks
from calibration.metrology.crossing import HORIZON
from calibration.metrology.drift import CannotFit
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import limits_size, takes_numbers

GRID = np.r_[0.0, np.geomspace(0.1, HORIZON, 20)]
_NORMAL = 1.959963984540054
# Factor of the band against 1/ν, to 1e-9 as a polynomial; ν is never below 4 (wander.mixture_band).
_INVERSE_DOF = np.linspace(1e-9, 0.25, 2000)
_FACTOR = Polynomial.fit(
    _INVERSE_DOF, stdtrit(1 / _INVERSE_DOF, 0.975) * np.sqrt(1 - 2 * _INVERSE_DOF), 10
).convert()


class Moments(NamedTuple):
    """Coefficients of rising powers of the years ahead.

    mean: 2 by N. variance: 4 by N. fourth: fourth central moment, 7 by N.
    """

    mean: np.ndarray
    variance: np.ndarray
    fourth: np.ndarray

    def columns(self, which: slice | np.ndarray) -> Moments:
        return Moments(*(part[:, which] for part in self))

    def at(self, years: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance, one day an instrument, or one for all."""
        h = np.asarray(years, dtype=float)
        return _at(h, self.mean), _at(h, self.variance)

    def band(self, years: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Centre and half-width of the 95 % band, one day an instrument, or one for all."""
        h = np.asarray(years, dtype=float)
        v = _at(h, self.variance)
        return self.mean[0] + h * self.mean[1], self._factor(h, v) * np.sqrt(v)

    def beyond(self, years: ArrayLike, half: np.ndarray) -> np.ndarray:
        """Whether that band meets ± half."""
        h = np.asarray(years, dtype=float)
        v = _at(h, self.variance)
        room = half - np.abs(self.mean[0] + h * self.mean[1])
        return np.asarray((room <= 0) | (np.square(self._factor(h, v)) * v >= room * room))

    def _factor(self, h: np.ndarray, v: np.ndarray) -> np.ndarray:
        # 1/ν of wander.mixture_band, ν = 4 + 6/excess.
        excess = np.maximum(_at(h, self.fourth) / (v * v) - 3, 0.0)
        factor = _at(excess / (4 * excess + 6), _FACTOR.coef)
        return np.where(excess < 1e-3, _NORMAL, factor)


@takes_numbers("u_next")
def moments(of: Outlook, u_next: ArrayLike = 0.0) -> Moments:
    """Of the next as found, read with standard uncertainty u_next; with 0 of the true error."""
    w = of.weights
    m0, m1 = (w * of.levels).sum(axis=0), (w * of.rates).sum(axis=0)
    d0, d1 = of.levels - m0, of.rates - m1
    e0, e1, e2 = d0 * d0, 2 * d0 * d1, d1 * d1
    t0, t1 = of.level_variances + np.square(u_next) + e0, of.q + 2 * of.ties + e1
    t2, t3 = of.rate_variances + e2, of.changes / 3

    def mean(values: np.ndarray) -> np.ndarray:
        return np.asarray((w * values).sum(axis=0))

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


@dataclass(frozen=True)
class Forecast:
    """One place an instrument.

    rate, low, high: % of span a year with the 95 % interval. own_weight: share of the rate that is
    its own; the rest is the family's. meets: years after the last visit until the 95 % band of the
    next as found meets ± tolerance; 0: at once; inf: not within the horizon. dated: False where
    two visits and no family say too little for any day; ``meets`` is then inf.
    """

    rate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    own_weight: np.ndarray
    meets: np.ndarray
    dated: np.ndarray


@limits_size("u_next")
def forecast(of: Outlook, tolerance: ArrayLike, u_next: ArrayLike) -> Forecast:
    """Forecasts of all instruments.

    tolerance: half-width, % of span; u_next: standard uncertainty of the coming reading; one, or
    one place an instrument. Raises CannotFit for a tolerance not above zero, or u_next below zero.
    """
    half = np.broadcast_to(checked_tolerance(tolerance), len(of))
    u = np.asarray(u_next, dtype=float)
    if not (np.isfinite(u) & (u >= 0)).all():
        raise CannotFit("u_next", "it must be a number not below zero")
    u = np.broadcast_to(u, len(of))
    return concatenate(
        map_blocks(lambda part: _forecast(of.columns(part), half[part], u[part]), len(of))
    )


def is_dated(of: Outlook) -> np.ndarray:
    """Where there is enough to give days: more than two visits, or a family (N)."""
    return (of.visits > 2) | (of.others >= FEWEST_OTHERS)


def _forecast(of: Outlook, half: np.ndarray, u: np.ndarray) -> Forecast:
    rate = of.rate()
    dated = is_dated(of)
    meets = np.where(dated, _meets(moments(of, u), half), np.inf)
    return Forecast(rate.centre, rate.lower, rate.upper, of.own_weight, meets, dated)


def _meets(of: Moments, half: np.ndarray) -> np.ndarray:
    """When |centre| + half-width first rises to the tolerance, years.

    A grid names the span of time, halving the day.
    """
    grid = of.beyond(GRID[:, None], half)
    place, never = grid.argmax(axis=0), ~grid.any(axis=0)
    low, high = GRID[np.maximum(place - 1, 0)], GRID[place]
    for _ in range(12):  # to within a day
        middle = (low + high) / 2
        out = of.beyond(middle, half)
        low, high = np.where(out, low, middle), np.where(out, middle, high)
    return np.where(never, np.inf, high)
