"""Likelihood of a constant rate of going out, known only to lie between two visits.

On time raised to the power of a shape it is that of a Weibull curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.metrology.drift import CannotFit
from calibration.metrology.visit_results import Results

_LAST_STEP = 1e-8  # of a Newton iteration: what is left is of the order of its square


@dataclass(frozen=True)
class IntervalLikelihood:
    """Exponential likelihood on time raised to each of k shapes.

    Each row counts by the time passed within it. out: (m, k) of the rows out of tolerance; inside:
    (k,) summed over those in. Log rates are (k,) throughout; in them the likelihood is concave.
    """

    out: np.ndarray
    inside: np.ndarray
    exact: int
    constant: np.ndarray

    @staticmethod
    def of(results: Results, shapes: np.ndarray) -> IntervalLikelihood:
        at_once = results.out & (results.start == results.end)
        later, inside = results.out & ~at_once, ~results.out
        start, end = results.start[inside], results.end[inside]
        t = np.log(results.end[at_once])
        return IntervalLikelihood(
            results.end[later, None] ** shapes - results.start[later, None] ** shapes,
            np.array([float((end**shape - start**shape).sum()) for shape in shapes]),
            int(at_once.sum()),
            len(t) * np.log(shapes) + (shapes - 1) * float(t.sum()),
        )

    def log_likelihood(self, log_rate: np.ndarray) -> np.ndarray:
        rate = np.exp(log_rate)
        gone_out = np.log(-np.expm1(-rate * self.out)).sum(axis=0)
        return gone_out - rate * self.inside + self.exact * log_rate + self.constant

    def slope(self, log_rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """First and second derivative."""
        rate = np.exp(log_rate)
        x = np.clip(rate * self.out, 1e-300, 500.0)
        share = x / np.expm1(x)
        rise = share.sum(axis=0) - rate * self.inside + self.exact
        return rise, (share * (1 - x - share)).sum(axis=0) - rate * self.inside

    def best(self) -> tuple[np.ndarray, np.ndarray]:
        """Logarithm of the rate with the highest likelihood, and that likelihood."""
        if not self.inside.all():
            raise CannotFit("results", "all results are out of tolerance: no rate is high enough")
        failed = self.out.shape[0] + self.exact
        at = np.log(failed / (self.inside + self.out.sum(axis=0)))
        for _ in range(100):
            rise, bend = self.slope(at)
            step = np.clip(-rise / np.minimum(bend, -1e-12), -1.0, 1.0)
            at = at + step
            if np.abs(step).max() < _LAST_STEP:
                break
        return at, self.log_likelihood(at)

    def where_it_drops(self, at: np.ndarray, floor: float) -> tuple[np.ndarray, np.ndarray]:
        """Log rates on both sides of the peaks ``at`` where the likelihood meets ``floor``.

        The peak itself where it lies below.
        """
        return self._outwards(at, floor, -1.0), self._outwards(at, floor, 1.0)

    def _outwards(self, at: np.ndarray, floor: float, side: float) -> np.ndarray:
        reached = self.log_likelihood(at) <= floor
        beyond, reach = at.copy(), 0.25
        while reach < 16 and (above := self.log_likelihood(beyond) > floor).any():
            beyond, reach = np.where(above, at + side * reach, beyond), 1.6 * reach
        # From outside a concave curve Newton's tangent never steps past the crossing.
        for _ in range(60):
            slope = np.where(reached, -side, self.slope(beyond)[0])
            step = np.where(reached, 0.0, (self.log_likelihood(beyond) - floor) / slope)
            beyond = beyond - step
            if np.abs(step).max() < _LAST_STEP:
                break
        return np.where(reached, at, beyond)
