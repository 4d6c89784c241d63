"""Likelihood of the increments of many histories, under each of a few laws of drift.

Each law has a rate, a process variance q, and a variance ``change`` by which the rate itself
changes in a year. Increments are eliminated one from the next, so that one pass along the visits
gives the exact likelihood as a parabola in the rate at the first visit. Where the rate stands
still only the error of the last reading is carried on; where it changes, so is the rate.
Visits run along the first axis, instruments along the last, the laws between.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from calibration.metrology.histories import Histories

Floats = Any
_LOG_EVERY = 8  # determinants are multiplied this many at a time before their logarithm is taken


class Carried(NamedTuple):
    """What the increments tell of the future (J by N), as lines in the rate at the first visit.

    level, years: the error of the last as left is level − years × rate; variance: what its own
    variance has lost. change, change_years: the rate has since changed by change − change_years ×
    rate; change_variance: the variance of that, tie: what it has in common with the last error.
    """

    level: np.ndarray
    years: np.ndarray
    variance: np.ndarray
    change: Floats = 0.0
    change_years: Floats = 0.0
    change_variance: Floats = 0.0
    tie: Floats = 0.0


class Sums(NamedTuple):
    """Sums of the likelihood for each law (J by N), and what is carried to the future."""

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    log_det: np.ndarray
    carried: Carried

    def log_evidence(self, rate: Floats, variance: Floats) -> np.ndarray:
        """Of each law, but for K ln 2π / 2, which is the same for all."""
        one = 1 + variance * self.a
        off = self.b - rate * self.a
        square = self.c - rate * (self.b + off) - variance * off * off / one
        return -0.5 * (self.log_det + np.log(one) + square)


class Eliminated(NamedTuple):
    """One increment freed of those before it: what is left of it, of its years, its variance."""

    level: np.ndarray
    years: np.ndarray
    variance: np.ndarray


class _Steady:
    """The error of the last reading, as the increments so far tell it."""

    def __init__(self, q: np.ndarray, n: int) -> None:
        self.q = q
        self.level, self.years, self.less = (np.zeros((len(q), n)) for _ in range(3))

    def meet(self, years: np.ndarray, increment: np.ndarray, variance: np.ndarray) -> Eliminated:
        d = self.q * years
        d += variance - self.less
        self.level += increment
        self.years += years
        return Eliminated(self.level, self.years, d)

    def leave(self, of: Eliminated, shared: np.ndarray) -> None:
        by = shared / of.variance
        self.level, self.years, self.less = by * of.level, by * of.years, by * shared

    @property
    def carried(self) -> Carried:
        return Carried(self.level, self.years, self.less)


class _Changing(_Steady):
    """The same, and the rate, which changes as it goes."""

    def __init__(self, q: np.ndarray, change: np.ndarray, n: int) -> None:
        super().__init__(q, n)
        self.change = change
        self.rate, self.rate_years, self.rate_variance, self.tie, self.pull = (
            np.zeros((len(q), n)) for _ in range(5)
        )

    def meet(self, years: np.ndarray, increment: np.ndarray, variance: np.ndarray) -> Eliminated:
        level, past, d = super().meet(years, increment, variance)
        level -= years * self.rate
        past -= years * self.rate_years
        grown = self.change * years
        d += years * (years * (self.rate_variance + grown / 3) + 2 * self.tie)
        self.pull = years * (self.rate_variance + grown / 2) + self.tie
        self.rate_variance += grown
        return Eliminated(level, past, d)

    def leave(self, of: Eliminated, shared: np.ndarray) -> None:
        by = self.pull / of.variance
        self.rate += by * of.level
        self.rate_years += by * of.years
        self.rate_variance -= by * self.pull
        self.tie = by * shared
        super().leave(of, shared)

    @property
    def carried(self) -> Carried:
        return Carried(
            self.level,
            self.years,
            self.less,
            self.rate,
            self.rate_years,
            self.rate_variance,
            self.tie,
        )


def _states(q: np.ndarray, change: np.ndarray, n: int) -> list[_Steady]:
    """Laws whose rate stands still, then those whose rate changes, which stand last."""
    still = int((change <= 0).all(axis=1).sum())
    parts: list[_Steady] = [_Steady(q[:still], n)] if still else []
    return parts + ([_Changing(q[still:], change[still:], n)] if still < len(q) else [])


def eliminated(histories: Histories, q: np.ndarray, change: np.ndarray) -> Iterator[Eliminated]:
    """Each increment freed of those before it, under every law, in order of time."""
    states = _states(q, change, len(histories))
    for k in range(len(histories.increments)):
        rows = histories.years[k], histories.increments[k], histories.variance[k]
        met = [state.meet(*rows) for state in states]
        yield Eliminated(*(np.concatenate(part) for part in zip(*met, strict=True)))
        for state, of in zip(states, met, strict=True):
            state.leave(of, histories.shared[k])


def sums(histories: Histories, q: np.ndarray, change: np.ndarray) -> Sums:
    """Sums and what is carried under each law; q, change: J by 1 or J by N, changing rates last."""
    parts = [_sums(histories, state) for state in _states(q, change, len(histories))]
    if len(parts) == 1:
        return parts[0]
    carried = [[np.broadcast_to(part, s.a.shape) for part in s.carried] for s in parts]
    a, b, c, log_det = (np.concatenate([s[i] for s in parts]) for i in range(4))
    together = Carried(*(np.concatenate(part) for part in zip(*carried, strict=True)))
    return Sums(a, b, c, log_det, together)


def _sums(histories: Histories, state: _Steady) -> Sums:
    a, b, c, log_det = (np.zeros(state.level.shape) for _ in range(4))
    product = np.ones(a.shape)
    for k in range(len(histories.increments)):
        of = state.meet(histories.years[k], histories.increments[k], histories.variance[k])
        by = 1 / of.variance
        years_by = of.years * by
        a += of.years * years_by
        b += of.level * years_by
        c += of.level * of.level * by
        product *= of.variance
        if k % _LOG_EVERY == _LOG_EVERY - 1:
            log_det += np.log(product)
            product.fill(1.0)
        state.leave(of, histories.shared[k])
    log_det += np.log(product)
    return Sums(a, b, c, log_det, state.carried)


def node_weights(log_evidence: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weight of each law after the data, and the logarithm of what was divided by."""
    with np.errstate(divide="ignore"):
        score = log_evidence + np.log(weights)
    top = score.max(axis=0)
    w = np.exp(score - top)
    total = w.sum(axis=0)
    return w / total, top + np.log(total)
