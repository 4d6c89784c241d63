"""How the probability of being found in tolerance changes with time, near one time.

Source: derived for this book; the rule for the step after E. Halley 1694 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from calibration.metrology.wander import Outlook

_ROOT = np.sqrt(2 * np.pi)
_SURE = 1e-12


class Course(NamedTuple):
    """One place an instrument. inside: P(next as found in tolerance); slope, bend: its first and
    second derivative with time, a year and a year².
    """

    inside: np.ndarray
    slope: np.ndarray
    bend: np.ndarray

    @staticmethod
    def of(of: Outlook, ahead: np.ndarray, half: np.ndarray, u: np.ndarray) -> Course:
        """So many years ahead, read with standard uncertainty u; one place an instrument."""
        means, variances = of.parts(ahead)
        laws = _Laws.of(of, ahead, variances + np.square(u))
        above, below = laws.side(half - means, -of.rates), laws.side(half + means, of.rates)
        inside, slope, bend = (
            (of.weights * (a + b)).sum(axis=0) for a, b in zip(above, below, strict=True)
        )
        return Course(1 - inside, -slope, -bend)

    def step_to(self, target: float) -> tuple[np.ndarray, np.ndarray]:
        """Years to where the probability is ``target``, and what it misses now. In normal
        quantiles, in which it is nearly straight.
        """
        at = ndtri(np.clip(self.inside, _SURE, 1 - _SURE))
        per = _ROOT * np.exp(at * at / 2)
        slope = self.slope * per
        bend = self.bend * per + at * slope * slope
        miss = at - ndtri(target)
        square = np.maximum(slope * slope, 1e-300)
        divisor = np.maximum(2 * square - miss * bend, square)  # so at most twice Newton's step
        return -2 * miss * slope / divisor, miss


class _Laws(NamedTuple):
    """Standard deviation under each law; by what share it grows in a year, and how that changes."""

    sd: np.ndarray
    growth: np.ndarray
    change: np.ndarray

    @staticmethod
    def of(of: Outlook, h: np.ndarray, variances: np.ndarray) -> _Laws:
        per = 0.5 / variances
        growth = per * (of.q + 2 * of.ties + h * (2 * of.rate_variances + h * of.changes))
        change = 2 * per * (of.rate_variances + h * of.changes) - 2 * growth * growth
        return _Laws(np.sqrt(variances), growth, change)

    def side(self, room: np.ndarray, widens: np.ndarray) -> tuple[np.ndarray, ...]:
        """Probability of an error beyond ``room``, which widens by so much a year, with its two
        derivatives.
        """
        z, drift = room / self.sd, widens / self.sd
        first = drift - z * self.growth
        second = -drift * self.growth - first * self.growth - z * self.change
        density = np.exp(-z * z / 2) / _ROOT
        return ndtr(-z), -density * first, -density * (second - z * first * first)
