"""The next as found as many readings, and bounds of the probability that all lie within limits.

The probability that some reading is out is at most the sum over all readings, and at least that of
the likeliest. What each has in common with the likeliest is counted once: a close bound where few
fail. Source: derived for this book; bivariate normals by Owen's T (decision.py).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtr, owens_t

# Correlation of the errors at zero and at span, taken small: some of their drift is common. From 0
# to 0.3 the chances of simulated fleets move by less than 0.005.
TOGETHER = 0.15


@dataclass(frozen=True)
class NextTest:
    """The next as found of N transmitters; R readings at fixed places.

    at: R; share of the span. zero, span: N; mean errors of the ends, % of span; zero_variance,
    span_variance: N. shape: R by N; what is added to the line. variance: R by N; of each reading
    about line and shape. limit: R by N; the largest error accepted, inf where no such reading is
    taken; below zero where nothing can be accepted.
    """

    at: np.ndarray
    zero: np.ndarray
    span: np.ndarray
    zero_variance: np.ndarray
    span_variance: np.ndarray
    shape: np.ndarray
    variance: np.ndarray
    limit: np.ndarray

    def columns(self, which: Any) -> NextTest:
        rest = (getattr(self, f.name)[..., which] for f in fields(self) if f.name != "at")
        return NextTest(self.at, *rest)

    def __len__(self) -> int:
        return len(self.zero)


class Readings(NamedTuple):
    """Each reading by itself, R by N. mean, sd: of its error. line: variance of the line there.
    above, below: probability that it lies out on either side.
    """

    mean: np.ndarray
    sd: np.ndarray
    line: np.ndarray
    above: np.ndarray
    below: np.ndarray

    def columns(self, which: Any) -> Readings:
        return Readings(*(part[:, which] for part in self))


def readings_of(test: NextTest) -> Readings:
    x = test.at[:, None]
    mean = (1 - x) * test.zero + x * test.span + test.shape
    line = _covariance(test, x, x)
    sd = np.sqrt(line + test.variance)
    return Readings(mean, sd, line, ndtr((mean - test.limit) / sd), ndtr((-mean - test.limit) / sd))


def _covariance(test: NextTest, x: Any, y: Any) -> np.ndarray:
    """Of the line at two places."""
    common = TOGETHER * np.sqrt(test.zero_variance * test.span_variance)
    return np.asarray(
        (1 - x) * (1 - y) * test.zero_variance
        + x * y * test.span_variance
        + (x * (1 - y) + y * (1 - x)) * common
    )


def by_pairs(test: NextTest, readings: Readings) -> np.ndarray:
    """A lower bound of the probability that all lie within, close where few fail (N).

    Overlaps on the side of the likeliest are counted; those across are left, which errs to the
    safe side.
    """
    high = readings.above.max(axis=0) >= readings.below.max(axis=0)
    sign = np.where(high, 1.0, -1.0)
    out = np.where(high, readings.above, readings.below)
    first = out.argmax(axis=0)
    along = np.arange(len(test))
    edge = (test.limit - sign * readings.mean) / readings.sd  # standard deviations to the limit
    covariance = _covariance(test, test.at[:, None], test.at[first])
    correlation = covariance / (readings.sd * readings.sd[first, along])
    overlap = _both_above(edge, edge[first, along], np.minimum(correlation, 1 - 1e-9))
    counted = out > 1e-9
    counted[first, along] = False
    fail = (readings.above + readings.below).sum(axis=0) - np.where(counted, overlap, 0).sum(axis=0)
    return np.clip(1 - fail, 0.0, 1.0)


def _both_above(h: np.ndarray, k: np.ndarray, r: np.ndarray) -> np.ndarray:
    """P(X > h and Y > k) of two standard normals, r their correlation. Source: D. B. Owen 1956."""
    h, k = (np.where(np.abs(a) < 1e-9, 1e-9, np.clip(a, -40, 40)) for a in (h, k))
    root = np.sqrt((1 - r) * (1 + r))
    opposite = np.where(h * k < 0, 0.5, 0.0)
    alone = (ndtr(-h) + ndtr(-k)) / 2
    both = alone - owens_t(h, (k / h - r) / root) - owens_t(k, (h / k - r) / root) - opposite
    return np.maximum(both, 0.0)
