"""The next as found of many transmitters, as readings at a few places of the span.

Readings at one place, rising and falling, share the line between the errors at zero and span; what
each adds to it is its own. Of the two only the higher meets the upper limit, and only the lower the
lower one. Source: derived for this book; moments of the lesser of two normals after C. E. Clark
1961 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr

from calibration.metrology.blocks import columns_of

# Correlation of the errors at zero and at span, taken small: some of their drift is common. From 0
# to 0.3 the chances of simulated fleets move by less than 0.005.
TOGETHER = 0.15


@dataclass(frozen=True)
class Readings:
    """R readings of N transmitters, or what stands for them at R places.

    at: R; share of the span. shape: R by N; what is added to the line, % of span. variance: R by N;
    of each about line and shape. limit: R by N; the largest error accepted, inf where no such
    reading is taken; zero or below where nothing can be accepted.
    """

    at: np.ndarray
    shape: np.ndarray
    variance: np.ndarray
    limit: np.ndarray

    def columns(self, which: Any) -> Readings:
        rest = (columns_of(part, which) for part in (self.shape, self.variance, self.limit))
        return Readings(self.at, *rest)

    def by_place(self) -> Readings:
        """One for all readings at each place, in order along the span."""
        at = np.unique(self.at)
        parts = [self._at_one(np.flatnonzero(self.at == x)) for x in at]
        return Readings(at, *(np.array(part) for part in zip(*parts, strict=True)))

    def _at_one(self, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Shape, variance and limit of these together: the middle between the limits that the
        highest and the lowest leave to the line, and half of what lies between.
        """
        up, down = self.limit - self.shape, self.limit + self.shape
        first, *rest = rows
        above, below = (up[first], self.variance[first]), (down[first], self.variance[first])
        for row in rest:
            above = _lesser(*above, up[row], self.variance[row])
            below = _lesser(*below, down[row], self.variance[row])
        is_read = np.isfinite(above[0])
        shape = np.where(is_read, below[0], 0.0) - np.where(is_read, above[0], 0.0)
        return shape / 2, (above[1] + below[1]) / 2, (above[0] + below[0]) / 2


def _lesser(
    a: np.ndarray, a_variance: np.ndarray, b: np.ndarray, b_variance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of the lesser of two independent normals; inf is none."""
    both = np.isfinite(a) & np.isfinite(b)
    apart = np.where(both, b, 0.0) - np.where(both, a, 0.0)
    spread = np.sqrt(a_variance + b_variance)
    first = ndtr(apart / spread)  # probability that it is a
    hill = spread * np.exp(-np.square(apart / spread) / 2) / np.sqrt(2 * np.pi)
    off = apart * (1 - first) - hill  # of its mean from a
    square = first * a_variance + (1 - first) * (b_variance + apart**2) - apart * hill
    alone = np.where(np.isfinite(a), a_variance, b_variance)
    mean = np.where(both, a, 0.0) + off
    return np.where(both, mean, np.minimum(a, b)), np.where(both, square - off * off, alone)


@dataclass(frozen=True)
class NextTest:
    """The next as found of N transmitters. zero, span: N; mean errors of the ends, % of span;
    zero_variance, span_variance: N.
    """

    zero: np.ndarray
    span: np.ndarray
    zero_variance: np.ndarray
    span_variance: np.ndarray
    readings: Readings

    def columns(self, which: Any) -> NextTest:
        return NextTest(
            columns_of(self.zero, which),
            columns_of(self.span, which),
            columns_of(self.zero_variance, which),
            columns_of(self.span_variance, which),
            self.readings.columns(which),
        )

    def __len__(self) -> int:
        return len(self.zero)

    @property
    def mean(self) -> np.ndarray:
        """Of each reading's error (R by N)."""
        x = self.readings.at[:, None]
        return np.asarray((1 - x) * self.zero + x * self.span + self.readings.shape)

    def covariance(self, x: Any, y: Any) -> np.ndarray:
        """Of the line at two places."""
        common = TOGETHER * np.sqrt(self.zero_variance * self.span_variance)
        return np.asarray(
            (1 - x) * (1 - y) * self.zero_variance
            + x * y * self.span_variance
            + (x * (1 - y) + y * (1 - x)) * common
        )
