"""The share still in tolerance by time since renewal, counted without a law: what a fitted curve is held against.

Each time of going out is known only to lie between two visits, or beyond the last. The curve of highest likelihood can
fall only within the shortest of these stretches; where inside one it falls, nothing tells.
Source: Turnbull 1976 for where the mass may lie, Wang 2007 (constrained Newton) for finding it; both from memory.
Checked by INT-11 against an independent library.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from calibration.metrology.drift import CannotFit
from calibration.metrology.reliability import Results

_ROUNDS, _ENOUGH = 200, 1e-7  # the log likelihood is within this of the highest there is
_NOTHING = 1e-9
# Kinds of ends, in the order in which they stand at one and the same time: (a, b] ends before (b, c] begins.
_AT_ONCE, _END, _BEGIN = 0.0, 1.0, 2.0


@dataclass(frozen=True, eq=False)
class NonparametricCurve:
    """The curve falls by ``mass`` somewhere within lower < t ≤ upper, in years; equal ends: a failure as it happened.

    left: R after each fall. log_likelihood: of all results; no curve whatever has a higher one (within 1e-7).
    """

    lower: np.ndarray
    upper: np.ndarray
    mass: np.ndarray
    log_likelihood: float

    @property
    def left(self) -> np.ndarray:
        return np.clip(1.0 - np.cumsum(self.mass), 0.0, 1.0)

    def corners(self, until: float) -> list[tuple[float, float]]:
        """(years, R) where the picture turns: level between falls, sloping where the fall lies somewhere within.

        It ends at ``until``; a fall that may lie beyond is left out.
        """
        at, above = [(0.0, 1.0)], 1.0
        for low, high, below in zip(self.lower, self.upper, self.left, strict=True):
            if high > until:
                break
            at += [(float(low), above), (float(high), float(below))]
            above = float(below)
        return [*at, (until, above)]


def coarsen(seen: Results, grid: float) -> Results:
    """The results by steps of ``grid`` years: passes count a little less far, fails lie in spans a little wider.

    With few distinct times the curve of many results is found fast.
    """
    start, end = np.floor(seen.start / grid) * grid, np.floor(seen.end / grid) * grid
    end = np.where(seen.out, np.ceil(seen.end / grid) * grid, end)
    kept = seen.out | (end > start)
    return Results(seen.instrument, start, end, seen.out).some(kept)


def nonparametric_curve(seen: Results) -> NonparametricCurve:
    """The curve of highest likelihood over all that never rise.

    Raises CannotFit where a clock does not run from its renewal on: each start above 0 needs a pass that ends there.
    """
    fails, fail_counts, last, last_counts = _spans(seen)
    ends, place = _in_order(fails, last)
    begins, closes, lasts = np.split(place, [len(fails), 2 * len(fails)])
    # The curve can fall only between a beginning and an end that follow each other at once.
    at = np.flatnonzero((ends[:-1, 1] != _END) & (ends[1:, 1] == _END))
    # Columns are these places and, last, "never"; each span holds those from ``first`` up to ``stop``.
    first = np.searchsorted(at, np.r_[begins, lasts])
    stop = np.r_[np.searchsorted(at, closes), np.full(len(lasts), len(at) + 1)]
    spans, alike = np.unique(np.c_[first, stop], axis=0, return_inverse=True)
    counts = np.bincount(alike.ravel(), weights=np.r_[fail_counts, last_counts])
    column = np.arange(len(at) + 1)
    rows = (spans[:, :1] <= column) & (column < spans[:, 1:])
    mass, height = _highest(rows.astype(float), counts)
    kept = mass[:-1] > _NOTHING
    return NonparametricCurve(ends[at, 0][kept], ends[at + 1, 0][kept], mass[:-1][kept], height)


def _spans(seen: Results) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Distinct (from, to) of those found out and distinct last passes, each with how often.

    A pass that a later visit of the same clock follows says nothing of its own: the two cancel in the likelihood.
    """
    fails, times = np.unique(np.c_[seen.start, seen.end][seen.out], axis=0, return_counts=True)
    at, where = np.unique(np.r_[seen.end, seen.start], return_inverse=True)
    sign = np.r_[np.where(seen.out, 0.0, 1.0), -np.ones(len(seen))]
    net = np.bincount(where, weights=sign)
    if (net[at > 0] < 0).any():
        raise CannotFit("seen", "a clock starts late: there is no pass where a result begins")
    last = (at > 0) & (net > 0)
    return fails, times.astype(float), at[last], net[last]


def _in_order(fails: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All ends of the spans (years, kind) in order, and the place of each beginning, end and last pass among them."""
    kind = np.where(fails[:, 0] == fails[:, 1], _AT_ONCE, _BEGIN)
    keys = [
        np.c_[fails[:, 0], kind],
        np.c_[fails[:, 1], np.full(len(fails), _END)],
        np.c_[last, np.full(len(last), _BEGIN)],
    ]
    ends, place = np.unique(np.vstack(keys), axis=0, return_inverse=True)
    return ends, place.ravel()


def _highest(rows: np.ndarray, counts: np.ndarray) -> tuple[np.ndarray, float]:
    """Masses of the columns, each at least 0 and 1 in all, that make Σ counts · ln(rows @ mass) highest."""
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
    """From ``mass`` towards ``aim``, half as far each time until the likelihood has risen enough."""
    now, share = counts @ np.log(rows @ mass), 1.0
    while share > 1e-6:
        tried = (1 - share) * mass + share * aim
        chance = rows @ tried
        if (chance > 0).all() and counts @ np.log(chance) >= now + share * slope / 3:
            return tried
        share /= 2
    # Weights of one step of self-consistency never lower the likelihood.
    return mass * (rows.T @ (counts / (rows @ mass))) / counts.sum()
