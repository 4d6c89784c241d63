"""Shares in tolerance: exact limits, how many results show a share, and whether one meets its target.

Source: Clopper and Pearson for the exact limits (checked by INT-02); the constant rate (INT-01), the run without a
failure (INT-03) and the binomial test (INT-08) are textbook.
"""

from __future__ import annotations

from typing import NamedTuple

from scipy.special import betaincinv


class Limits(NamedTuple):
    lower: float
    upper: float


def binomial_limits(k: float, n: float, confidence: float = 0.95, *, effect: float = 1.0) -> Limits:
    """Exact two-sided limits of a share, k of n; both divided by the design effect first."""
    check_share("confidence", confidence)
    if not (n > 0 and 0 <= k <= n and effect >= 1):
        raise ValueError(f"k, n, effect: {k} of {n} at {effect} is not a share")
    k, n, tail = k / effect, n / effect, (1 - confidence) / 2
    lower = 0.0 if k == 0 else float(betaincinv(k, n - k + 1, tail))
    upper = 1.0 if k == n else float(betaincinv(k + 1, n - k, 1 - tail))
    return Limits(lower, upper)


def check_share(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name}: {value} is not between 0 and 1")
