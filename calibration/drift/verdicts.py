"""The chance that the next as found passes, for points both of whose ends have a history."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.drift.histories import EndHistories
from calibration.drift.results import DAYS_PER_YEAR, Points, Results
from calibration.metrology.doubt import FIRST, LAST
from calibration.metrology.longest_interval import Longest
from calibration.metrology.passing import Passing, passing
from calibration.metrology.shapes import FamilyShapes, OwnTests, own_tests, shapes_of
from calibration.metrology.wander import Outlook


@dataclass(frozen=True)
class Verdicts:
    """M points. place: of each in Points. day: of its last visit, counted from results.DAY_0.

    own, family: tests of the transmitter itself, and members of the family that its shape rests on.
    """

    place: np.ndarray
    day: np.ndarray
    of: Passing
    own: np.ndarray
    family: np.ndarray

    def __len__(self) -> int:
        return len(self.place)

    def some(self, which: np.ndarray) -> Verdicts:
        return Verdicts(
            self.place[which],
            self.day[which],
            self.of.columns(which),
            self.own[which],
            self.family[which],
        )

    def chance(self, day: np.ndarray) -> np.ndarray:
        """Of passing on these days (M), counted from DAY_0; before the last visit, at it."""
        return self.of.chance(np.maximum(day - self.day, 0) / DAYS_PER_YEAR)

    def first_below(self, chance: np.ndarray | float, lower: float, upper: float) -> Longest:
        """As Passing has it, in years after the last visit."""
        return self.of.first_below(chance, lower, upper)

    def first_days_below(self, chance: np.ndarray) -> np.ndarray:
        """The first day (M) on which the chance is below what is given, counted from DAY_0: that of
        the last visit where it is below from the start, NaN where it is not within LAST years.
        """
        found = self.first_below(chance, FIRST, LAST)
        years = np.where(found.reached, found.years, 0.0)
        days = self.day + np.ceil(years * DAYS_PER_YEAR)
        return np.where(found.reached & found.capped, np.nan, days)


def tests_of(points: Points, results: Results) -> OwnTests:
    """The shapes of each point's tests since its last segment began."""
    owner = np.searchsorted(points.id, results.point)
    return own_tests(results.shape, results.tests, owner, len(points))


def verdicts_of(
    points: Points,
    histories: EndHistories,
    fit: Outlook,
    dated: np.ndarray,
    own: OwnTests,
    families: FamilyShapes,
) -> Verdicts | None:
    """Of the points whose both ends have an outlook that gives dates (``dated``, of each history).

    own, families: one place a point. None where there is no such point.
    """
    both = (histories.column >= 0).all(axis=0)
    place = np.flatnonzero(both & dated[histories.column].all(axis=0))
    if not place.size:
        return None
    zero, span = histories.column[:, place]
    last = np.array([histories.last_day[zero], histories.last_day[span]])
    day = last.max(axis=0)
    known = OwnTests(*(part[:, place] for part in vars(own).values()))
    family = families.of(place)
    return Verdicts(
        place,
        day,
        passing(
            fit.columns(zero),
            fit.columns(span),
            shapes_of(known, family),
            tolerance=points.tolerance[place],
            u=np.array([histories.u_next[zero], histories.u_next[span]]),
            guard=points.guard[place],
            risk=points.risk[place],
            gone=(day - last) / DAYS_PER_YEAR,
        ),
        known.count.max(axis=0).astype(int),
        family.members,
    )
