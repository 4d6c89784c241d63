"""Exact confidence limits of a share in tolerance.

Source: Clopper and Pearson 1934 (from memory); checked by INT-02.
"""

from __future__ import annotations

from typing import NamedTuple

from scipy.special import betaincinv

from plant.level.checks import LARGEST, BadArgument, share


class Limits(NamedTuple):
    lower: float
    upper: float


def binomial_limits(k: float, n: float, confidence: float = 0.95, *, effect: float = 1.0) -> Limits:
    """Exact two-sided limits of a share, k of n; both divided by the design effect first."""
    share("confidence", confidence)
    if not (0 < n <= LARGEST and 0 <= k <= n and 1 <= effect <= LARGEST):
        raise BadArgument("k, n, effect", f"{k} of {n} at {effect} is not a share")
    k, n, tail = k / effect, n / effect, (1 - confidence) / 2
    lower = 0.0 if k == 0 else float(betaincinv(k, n - k + 1, tail))
    upper = 1.0 if k == n else float(betaincinv(k + 1, n - k, 1 - tail))
    return Limits(lower, upper)
