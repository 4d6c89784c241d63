"""Pass and fail at visits, by the time since the last renewal; and how far visits go together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.drift import CannotFit
from plant.level.checks import takes_numbers

DESIGN_EFFECT_UNSEEN = 2.0  # where no failure shows how far visits go together


@dataclass(frozen=True)
class Results:
    """One row a visit, by the time since the last renewal.

    instrument: whose, as whole numbers from 0 up. start, end: years since the renewal at the visit
    before and at this one. out: out of tolerance as found. start == end with ``out``: a failure
    observed as it happened.
    """

    instrument: np.ndarray
    start: np.ndarray
    end: np.ndarray
    out: np.ndarray

    @staticmethod
    def of(instrument: ArrayLike, start: ArrayLike, end: ArrayLike, out: ArrayLike) -> Results:
        """Checked rows, one a visit.

        Raises CannotFit for none, for lengths that differ, or times that are not 0 ≤ start ≤ end.
        """
        _, who = np.unique(np.asarray(instrument), return_inverse=True)
        s, e = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
        failed = np.asarray(out, dtype=bool)
        if not who.shape == s.shape == e.shape == failed.shape or who.ndim != 1:
            raise CannotFit("instrument, start, end, out", "they need one value a visit each")
        if who.size == 0:
            raise CannotFit("instrument", "no result was given")
        if not (np.isfinite(s) & np.isfinite(e) & (s >= 0) & (e >= s) & (e > 0)).all():
            raise CannotFit(
                "start, end", "times must be numbers with 0 ≤ start ≤ end, and end above 0"
            )
        if ((s == e) & ~failed).any():
            raise CannotFit("start, end", "no time passes before a result in tolerance")
        return Results(who, s, e, failed)

    def __len__(self) -> int:
        return len(self.end)

    @property
    def failures(self) -> int:
        return int(self.out.sum())

    @property
    def instruments(self) -> int:
        return int(self.instrument.max()) + 1

    def some(self, rows: np.ndarray) -> Results:
        return Results(self.instrument[rows], self.start[rows], self.end[rows], self.out[rows])


class ClockedVisits(NamedTuple):
    """Visits as times since renewal. row: which visit each one is; the rest as in Results."""

    row: np.ndarray
    start: np.ndarray
    end: np.ndarray
    out: np.ndarray


@takes_numbers("years")
def times_since_renewal(
    instrument: ArrayLike, years: ArrayLike, in_tolerance: ArrayLike, renewed: ArrayLike
) -> ClockedVisits:
    """Each visit that counts, by the time since renewal; visits in any order, shapes alike (n,).

    in_tolerance: as found. renewed: adjusted, repaired or swapped, and left in tolerance: the
    clock begins again. The first visit of an instrument only starts its clock. After a fail that
    was not put right nothing is counted until a renewal: it was out, and stays out.
    """
    ids, t = np.asarray(instrument), np.asarray(years, dtype=float)
    renew = np.asarray(renewed, dtype=bool)
    if not ids.size:
        return ClockedVisits(*(np.zeros(0, dtype=kind) for kind in (int, float, float, bool)))
    order = np.lexsort((t, ids))
    ids, t, renew = ids[order], t[order], renew[order]
    out = ~np.asarray(in_tolerance, dtype=bool)[order]
    first = np.r_[True, ids[1:] != ids[:-1]]
    place = np.arange(len(ids))
    before = np.r_[0, place[:-1]]
    # The visit that set the clock running last, as of the visit before this one.
    clock = np.maximum.accumulate(np.where(first | renew, place, 0))[before]
    left_out = np.cumsum(out & ~renew)
    stuck = left_out[before] - left_out[clock] + (out & ~renew)[clock] > 0
    counts = ~first & ~stuck
    return ClockedVisits(
        order[counts], (t[before] - t[clock])[counts], (t - t[clock])[counts], out[counts]
    )


def design_effect(results: Results) -> float:
    """By how much visits of one instrument going together widen a variance: at least 1.

    2 where nothing failed.
    """
    if not results.failures:
        return DESIGN_EFFECT_UNSEEN
    n = np.bincount(results.instrument)
    failed = np.bincount(results.instrument, weights=results.out)
    p = failed.sum() / n.sum()
    if len(n) < 2 or p == 1:
        return 1.0
    between = float(((failed - n * p) ** 2).sum()) * len(n) / (len(n) - 1)
    return max(1.0, between / (n.sum() * p * (1 - p)))
