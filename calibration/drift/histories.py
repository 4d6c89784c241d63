"""From results to histories, and the prior of each; the two ends of a range are two columns."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from django.db import connection

from calibration.arrays import BigInts, execute
from calibration.drift.results import DAYS_PER_YEAR, Points, Results
from calibration.metrology.drift import CannotFit
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.fleet_fit import widening
from calibration.metrology.histories import Histories, gather
from calibration.metrology.shapes import FamilyShapes, alone
from calibration.metrology.wander import Prior, default_prior, laws, weights_of_all_laws

ENDS = ("zero", "span")


@dataclass(frozen=True)
class EndHistories:
    """N columns: the histories of single ends of ranges. place, end: whose each is. tolerance: half
    the width between the limits; size: by what a prior is scaled, another where it is one-sided.

    core: as calibration.metrology takes them. column: 2 by points, −1 where there is no history.
    """

    core: Histories
    place: np.ndarray
    end: np.ndarray
    column: np.ndarray
    tolerance: np.ndarray
    size: np.ndarray
    u_next: np.ndarray
    # Visits of all columns one after the other, in order of time: the row of Results each stands
    # for.
    rows: np.ndarray

    def __len__(self) -> int:
        return len(self.place)

    def with_core(self, core: Histories) -> EndHistories:
        return replace(self, core=core)

    def row_of(self, visit: int, column: int) -> int:
        """The row of Results of a column's visit, counted from its first."""
        ends = np.cumsum(self.core.visits)[column]
        return int(self.rows[ends - self.core.visits[column] + visit])

    def marked(self, by_row: np.ndarray) -> np.ndarray:
        """A mark of Results (2 by rows) on the increments that end there, K by N."""
        k, n = self.core.increments.shape
        visits = self.core.visits
        column = np.repeat(np.arange(n), visits)
        place = np.arange(len(self.rows)) - np.repeat(np.cumsum(visits), visits) + k
        marks = np.zeros((k, n), dtype=bool)
        inside = place >= 0
        marks[place[inside], column[inside]] = by_row[self.end[column], self.rows][inside]
        return marks

    @cached_property
    def last_day(self) -> np.ndarray:
        """Of the last visit, counted from results.DAY_0."""
        return np.rint(self.core.last_year * DAYS_PER_YEAR).astype(int)


def histories_of(points: Points, results: Results) -> EndHistories | None:
    """None where there is not one history: it takes two visits on different days."""
    place = np.searchsorted(points.id, results.point)
    found = np.where(results.fresh, np.nan, results.found)
    known = ~(np.isnan(found) & np.isnan(results.left))
    rows = [np.flatnonzero(known[end]) for end in (0, 1)]

    def column(values: np.ndarray) -> np.ndarray:
        """One after the other: zero's rows, then span's."""
        if values.ndim == 1:
            return np.concatenate([values[rows[0]], values[rows[1]]])
        return np.concatenate([values[0][rows[0]], values[1][rows[1]]])

    group = np.concatenate([place[rows[0]], len(points) + place[rows[1]]])
    try:
        gathered = gather(
            group,
            column(results.day / DAYS_PER_YEAR),
            column(found),
            column(results.left),
            column(results.adjusted),
            column(results.u),
            column(results.shared),
        )
    except CannotFit:
        return None
    end, whose = np.divmod(gathered.groups, len(points))
    columns = np.full((2, len(points)), -1)
    columns[end, whose] = np.arange(len(whose))
    tolerance, size = points.tolerance[whose], points.size[whose]
    u_next = np.sqrt(gathered.histories.level_variance)
    visits = _visits(group, np.concatenate(rows), results.day, gathered.groups)
    return EndHistories(gathered.histories, whose, end, columns, tolerance, size, u_next, visits)


def _visits(group: np.ndarray, row: np.ndarray, day: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """The rows, in order of group and day as they are, of one day the last; only of the groups that
    were kept.
    """
    last = np.r_[(group[1:] != group[:-1]) | (day[row][1:] != day[row][:-1]), True]
    place = np.minimum(np.searchsorted(kept, group), len(kept) - 1)
    return np.asarray(row[last & (kept[place] == group)])


PRIOR = ("rate", "spread", "mean_sd", "weights")
SHAPE = ("shape_mean", "shape_between", "shape_within")
COLUMNS = ", ".join((*(f"{end}_{part}" for end in ENDS for part in PRIOR), *SHAPE))
FAMILIES = f"""
    SELECT id, members, tolerance_percent, forecasts_held, forecasts, {COLUMNS}
    FROM calibration_family WHERE id = ANY(%s) AND members > %s
"""  # noqa: S608 - parts written above


def families_of(histories: EndHistories, points: Points) -> tuple[Prior, FamilyShapes]:
    """What the families know: the prior of each column, and the shapes of each point's family; the
    wide default where there is none (one query at most).
    """
    ids = points.family[histories.place]
    prior = default_prior(histories.size)
    shapes = alone(points.size)
    known = np.unique(ids[ids > 0])
    if not known.size:
        return prior, shapes
    # The default's arrays may be one and the same: each gets its own before families are filled in.
    prior = replace(
        prior,
        rate=prior.rate.copy(),
        mean_sd=prior.mean_sd.copy(),
        change=prior.change.copy(),
        widening=prior.widening.copy(),
    )
    with connection.cursor() as cursor:
        execute(cursor, FAMILIES, [BigInts.of(known), FEWEST_OTHERS])
        families = cursor.fetchall()
    for pk, members, tolerance, held, made, *numbers in families:
        _set_shapes(shapes, points.family == pk, members, numbers[4 * len(ENDS) :])
        q, change = laws(np.array([tolerance]))
        for end in range(len(ENDS)):
            rate, spread, mean_sd, weights = numbers[4 * end : 4 * end + 4]
            mine = (ids == pk) & (histories.end == end)
            if not mine.any() or not weights:
                continue
            prior.rate[mine], prior.spread[mine], prior.mean_sd[mine] = rate, spread, mean_sd
            prior.weights[:, mine] = weights_of_all_laws(weights)[:, None]
            prior.q[:, mine], prior.change[:, mine] = q, change
            prior.others[mine], prior.widening[mine] = members - 1, widening(held, made)
    return prior, shapes


def _set_shapes(of: FamilyShapes, mine: np.ndarray, members: int, known: list[list[float]]) -> None:
    """The family's own in place of the wide default, where it has any."""
    if not all(known):
        return
    for column, values in zip((of.mean, of.between, of.within), known, strict=True):
        column[:, mine] = np.array(values)[:, None]
    of.members[mine] = members
