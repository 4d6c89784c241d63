"""Intervals chosen one after the other for twenty years, by the drift rule and by plainer ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calibration.metrology.fleet_fit import fit_fleet
from calibration.metrology.histories import histories
from calibration.metrology.intervals import propose
from calibration.metrology.wander import outlook
from tests.bench.truths import ADJUST_BEYOND, TOLERANCE, Truth, U


@dataclass(frozen=True)
class Loop:
    """In %: as found in tolerance, over all intervals and over those that no bound cut.

    interval: mean, years.
    """

    inside: float
    uncut: float
    uncut_share: float
    interval: float
    adjusted: float


class _Rule(Protocol):
    """What decides the next interval. ``visits`` is the history so far, oldest first."""

    def next(self, visits: list[tuple[np.ndarray, ...]], current: np.ndarray) -> tuple: ...


class FixedYear(_Rule):
    def next(self, visits, current):
        return np.ones_like(current), np.ones(len(current), bool)


class Staircase(_Rule):
    def __init__(self, target: float = 0.95) -> None:
        self.shorter = 1 - 1.1 ** (-target / (1 - target))  # stands still at the target

    def next(self, visits, current):
        inside = np.abs(visits[-1][1]) <= TOLERANCE
        years = current * np.where(inside, 1.1, 1 - self.shorter)
        return np.clip(years, 0.25, 5.0), np.ones(len(current), bool)


class Drift(_Rule):
    """The drift rule with families of this size, as the nightly pass fits them after each visit.

    An increment once flagged stays set aside: nobody has named its cause.
    """

    def __init__(self, family_size: int, target: float = 0.95) -> None:
        self.family_size, self.target = family_size, target
        self.aside = np.zeros((0, 0), dtype=bool)

    def next(self, visits, current):
        history = histories(*(np.array(column) for column in zip(*visits, strict=True)), U)
        fresh = np.zeros((len(history.increments) - len(self.aside), len(history)), dtype=bool)
        before = np.vstack([self.aside, fresh]) if self.aside.size else fresh
        member = np.arange(len(history)) // self.family_size
        fit = fit_fleet(history.without(before), member, TOLERANCE)
        self.aside = before | history.counted & ~fit.histories.counted
        made = propose(
            outlook(fit.histories, fit.prior), TOLERANCE, U, current=current, target=self.target
        )
        return made.years, made.cut


def closed_loop(truth: Truth, rule: _Rule, n: int, seed: int, *, span: float = 20.0) -> Loop:
    """Calibrate n instruments for ``span`` years; the rule chooses each interval."""
    rng = np.random.default_rng(seed)
    rate, q = truth.draw(rng, n)
    x, now, interval = rng.normal(0, 0.02, n), np.zeros(n), np.ones(n)
    cut = np.ones(n, dtype=bool)
    first = x + U * rng.normal(size=n)
    visits = [(now, first, first, np.ones(n, bool))]
    tally: list[tuple[np.ndarray, ...]] = []
    while (now < span).any():
        now = now + interval
        x = x + rate * interval + np.sqrt(q * interval) * rng.normal(size=n)
        found = x + U * rng.normal(size=n)
        was = np.abs(found) > ADJUST_BEYOND
        x = np.where(was, rng.normal(0, 0.02, n), x)
        left = np.where(was, x + U * rng.normal(size=n), found)
        visits.append((now, found, left, was))
        counts = now <= span
        tally.append(tuple(c[counts] for c in (np.abs(found) <= TOLERANCE, cut, interval, was)))
        if not counts.any():
            break
        interval, cut = rule.next(visits, interval)
    inside, cuts, intervals, was = (np.concatenate(column) for column in zip(*tally, strict=True))
    return Loop(
        100 * inside.mean(),
        100 * inside[~cuts].mean() if (~cuts).any() else float("nan"),
        100 * float((~cuts).mean()),
        intervals.mean(),
        100 * was.mean(),
    )
