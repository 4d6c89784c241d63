"""Shares in tolerance: exact limits, how many results show a share, and whether one meets its target.

Source: Clopper and Pearson for the exact limits (checked by INT-02); the constant rate (INT-01), the run without a
failure (INT-03) and the binomial test (INT-08) are textbook.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.special import bdtr, betaincinv


class Limits(NamedTuple):
    lower: float
    upper: float


def scaled_interval(interval: float, observed: float, target: float) -> float:
    """Interval at which a constant rate gives the target, from the share in tolerance seen at ``interval``.

    >>> round(scaled_interval(12, 0.90, 0.95), 6)
    5.842032
    """
    check_share("observed", observed)
    check_share("target", target)
    if not (math.isfinite(interval) and interval > 0):
        raise ValueError(f"interval: {interval} is not above zero")
    return interval * math.log(target) / math.log(observed)


def binomial_limits(k: float, n: float, confidence: float = 0.95, *, effect: float = 1.0) -> Limits:
    """Exact two-sided limits of a share, k of n; both divided by the design effect first."""
    check_share("confidence", confidence)
    if not (n > 0 and 0 <= k <= n and effect >= 1):
        raise ValueError(f"k, n, effect: {k} of {n} at {effect} is not a share")
    k, n, tail = k / effect, n / effect, (1 - confidence) / 2
    lower = 0.0 if k == 0 else float(betaincinv(k, n - k + 1, tail))
    upper = 1.0 if k == n else float(betaincinv(k + 1, n - k, 1 - tail))
    return Limits(lower, upper)


def results_needed(confidence: float, reliability: float) -> int:
    """How many results, all in tolerance, show this reliability at this confidence."""
    check_share("confidence", confidence)
    check_share("reliability", reliability)
    return math.ceil(math.log(1 - confidence) / math.log(reliability))


class BinomialTest(NamedTuple):
    at_most: float
    at_least: float
    two_sided: float


def binomial_test(k: int, n: int, target: float) -> BinomialTest:
    """How likely k or fewer, k or more, or anything as unlikely as k of n would be at this share in tolerance."""
    check_share("target", target)
    if not 0 <= k <= n or n < 1:
        raise ValueError(f"k, n: {k} of {n} is not a share")
    below = np.r_[0.0, [float(bdtr(i, n, target)) for i in range(n + 1)]]
    each = np.array([math.comb(n, i) * target**i * (1 - target) ** (n - i) for i in range(n + 1)])
    rare = each <= each[k] * (1 + 1e-7)
    return BinomialTest(
        float(below[k + 1]), float(each[k:].sum()), float(min(1.0, each[rare].sum()))
    )


def check_share(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name}: {value} is not between 0 and 1")
