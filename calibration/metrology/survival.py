"""The share still in tolerance by time since renewal, without a model.

It is the reference for a fitted curve. Each time of going out is known only to lie between two
visits, or beyond the last. The curve of highest likelihood can fall only within the shortest of
these stretches; where inside one it falls, the results do not show.
Source: Turnbull 1976 for where the mass may lie, Wang 2007 (constrained Newton) for finding it;
both from memory. Checked by INT-11 against an independent library.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from calibration.metrology.drift import CannotFit
from calibration.metrology.visit_results import Results
from plant.level.checks import above_zero

_ROUNDS, _ENOUGH = 200, 1e-7  # the log likelihood is within this of the highest there is
_NOTHING = 1e-9
# Types of ends, in the order in which they stand at one and the same time: (a, b] ends before (b,
# c] begins.
_AT_ONCE, _END, _BEGIN = 0.0, 1.0, 2.0


@dataclass(frozen=True, eq=False)
class NonparametricCurve:
    """The curve falls by ``mass`` somewhere within lower < t ≤ upper, in years.

    Equal ends: a failure observed as it happened. left: R after each fall. log_likelihood: of all
    results; no curve whatever has a higher one (within 1e-7).
    """

    lower: np.ndarray
    upper: np.ndarray
    mass: np.ndarray
    log_likelihood: float

    @property
    def left(self) -> np.ndarray:
        return np.clip(1.0 - np.cumsum(self.mass), 0.0, 1.0)

    def corners(self, until: float) -> list[tuple[float, float]]:
        """(years, R) where the picture turns: level between falls, sloping within one.

        It ends at ``until``; a fall that may lie beyond is left out.
        """
        at, above = [(0.0, 1.0)], 1.0
        for low, high, below in zip(self.lower, self.upper, self.left, strict=True):
            if high > until:
                break
            at += [(float(low), above), (float(high), float(below))]
            above = float(below)
        return [*at, (until, above)]


def coarsen(results: Results, grid: float) -> Results:
    """The results on a grid of ``grid`` years.

    Passes count a little less far, fails lie in spans a little wider. With few distinct times the
    curve of many results is computed fast. Raises BadArgument for a grid not above zero.
    """
    above_zero("grid", grid)
    start, end = np.floor(results.start / grid) * grid, np.floor(results.end / grid) * grid
    end = np.where(results.out, np.ceil(results.end / grid) * grid, end)
    counts = results.out | (end > start)
    return Results(results.instrument, start, end, results.out).some(counts)


def nonparametric_curve(results: Results) -> NonparametricCurve:
    """The curve of highest likelihood over all that never rise.

    Raises CannotFit where a clock does not run from its renewal on: each start above 0 needs a
    pass that ends there.
    """
    fails, fail_counts, last, last_counts = _spans(results)
    ends, place = _in_order(fails, last)
    begins, closes, lasts = np.split(place, [len(fails), 2 * len(fails)])
    # The curve can fall only between a beginning and an end that follow each other at once.
    at = np.flatnonzero((ends[:-1, 1] != _END) & (ends[1:, 1] == _END))
    # Columns are these places and, last, "never"; each span holds those from ``first`` up to
    # ``stop``.
    first = np.searchsorted(at, np.r_[begins, lasts])
    stop = np.r_[np.searchsorted(at, closes), np.full(len(lasts), len(at) + 1)]
    spans, alike = np.unique(np.c_[first, stop], axis=0, return_inverse=True)
    counts = np.bincount(alike.ravel(), weights=np.r_[fail_counts, last_counts])
    column = np.arange(len(at) + 1)
    rows = (spans[:, :1] <= column) & (column < spans[:, 1:])
    mass, height = _highest(rows.astype(float), counts)
    falls = mass[:-1] > _NOTHING
    return NonparametricCurve(ends[at, 0][falls], ends[at + 1, 0][falls], mass[:-1][falls], height)


def _spans(results: Results) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Distinct (from, to) of those found out and distinct last passes, each with how often.

    A pass that a later visit of the same clock follows says nothing of its own: the two cancel in
    the likelihood.
    """
    fails, times = np.unique(
        np.c_[results.start, results.end][results.out], axis=0, return_counts=True
    )
    at, where = np.unique(np.r_[results.end, results.start], return_inverse=True)
    sign = np.r_[np.where(results.out, 0.0, 1.0), -np.ones(len(results))]
    net = np.bincount(where, weights=sign)
    if (net[at > 0] < 0).any():
        raise CannotFit("results", "a clock starts late: there is no pass where a result begins")
    last = (at > 0) & (net > 0)
    return fails, times.astype(float), at[last], net[last]


def _in_order(fails: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All ends of the spans (years, type) in order, and where each one stands among them.

    Beginnings first, then ends, then last passes.
    """
    begin = np.where(fails[:, 0] == fails[:, 1], _AT_ONCE, _BEGIN)
    keys = [
        np.c_[fails[:, 0], begin],
        np.c_[fails[:, 1], np.full(len(fails), _END)],
        np.c_[last, np.full(len(last), _BEGIN)],
    ]
    ends, place = np.unique(np.vstack(keys), axis=0, return_inverse=True)
    return ends, place.ravel()


def _highest(rows: np.ndarray, counts: np.ndarray) -> tuple[np.ndarray, float]:
    """Masses, at least 0 and 1 in all, with the highest Σ counts · ln(rows @ mass)."""
    weight, total = np.sqrt(counts), counts.sum()
    mass = np.full(rows.shape[1], 1 / rows.shape[1])
    for _ in range(_ROUNDS):
        chance = rows @ mass
        gain = rows.T @ (counts / chance)
        if gain.max() - total < _ENOUGH:  # bounds how much higher any other curve could be
            break
        near = weight[:, None] * (rows / chance[:, None] - 2)
        aim, _ = nnls(np.vstack([near, np.ones(len(mass))]), np.r_[np.zeros(len(near)), 1.0])
        mass = _uphill(rows, counts, mass, aim / aim.sum(), float(gain @ (aim / aim.sum()) - total))
    return mass, float((counts * np.log(rows @ mass)).sum())


def _uphill(
    rows: np.ndarray, counts: np.ndarray, mass: np.ndarray, aim: np.ndarray, slope: float
) -> np.ndarray:
    """From ``mass`` towards ``aim``, halving until the likelihood has risen enough."""
    now, share = counts @ np.log(rows @ mass), 1.0
    while share > 1e-6:
        trial = (1 - share) * mass + share * aim
        chance = rows @ trial
        if (chance > 0).all() and counts @ np.log(chance) >= now + share * slope / 3:
            return trial
        share /= 2
    # One iteration of self-consistency never lowers the likelihood.
    return mass * (rows.T @ (counts / (rows @ mass))) / counts.sum()
