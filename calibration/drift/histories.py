"""From results to histories and what is believed of them beforehand; the two ends of a range are
two columns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from django.db import connection

from calibration.arrays import BigInts, execute
from calibration.drift.results import DAYS_PER_YEAR, Points, Results
from calibration.metrology.drift import CannotFit
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.histories import Histories, gather
from calibration.metrology.wander import NODES, Prior, default_prior

ENDS = ("zero", "span")


@dataclass(frozen=True)
class Told:
    """N columns: histories of single ends. place, end: whose. column: 2 by points, −1 where nothing
    can be told.
    """

    histories: Histories
    place: np.ndarray
    end: np.ndarray
    column: np.ndarray
    tolerance: np.ndarray
    u_next: np.ndarray
    # Visits of all columns one after the other, in order of time: the row of Results each stands
    # for.
    rows: np.ndarray

    def __len__(self) -> int:
        return len(self.place)

    def with_histories(self, histories: Histories) -> Told:
        return replace(self, histories=histories)

    def row_of(self, visit: int, column: int) -> int:
        """The row of Results of a column's visit, counted from its first."""
        ends = np.cumsum(self.histories.visits)[column]
        return int(self.rows[ends - self.histories.visits[column] + visit])

    def marked(self, by_row: np.ndarray) -> np.ndarray:
        """A mark of Results (2 by rows) on the increments that end there, K by N."""
        k, n = self.histories.increments.shape
        visits = self.histories.visits
        column = np.repeat(np.arange(n), visits)
        place = np.arange(len(self.rows)) - np.repeat(np.cumsum(visits), visits) + k
        marks = np.zeros((k, n), dtype=bool)
        inside = place >= 0
        marks[place[inside], column[inside]] = by_row[self.end[column], self.rows][inside]
        return marks

    @cached_property
    def last_day(self) -> np.ndarray:
        """Of the last visit, counted from results.DAY_0."""
        return np.rint(self.histories.last_year * DAYS_PER_YEAR).astype(int)


def told_of(points: Points, results: Results) -> Told | None:
    """None where not one history can be told."""
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
        told = gather(
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
    end, whose = np.divmod(told.groups, len(points))
    columns = np.full((2, len(points)), -1)
    columns[end, whose] = np.arange(len(whose))
    tolerance = points.tolerance[whose]
    u_next = np.sqrt(told.histories.level_variance)
    visits = _visits(group, np.concatenate(rows), results.day, told.groups)
    return Told(told.histories, whose, end, columns, tolerance, u_next, visits)


def _visits(group: np.ndarray, row: np.ndarray, day: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """The rows, in order of group and day as they are, of one day the last; only of the groups that
    were kept.
    """
    last = np.r_[(group[1:] != group[:-1]) | (day[row][1:] != day[row][:-1]), True]
    place = np.minimum(np.searchsorted(kept, group), len(kept) - 1)
    return np.asarray(row[last & (kept[place] == group)])


LENT = ("rate", "spread", "mean_sd", "weights")
FAMILIES = f"""
    SELECT id, members, tolerance_percent, {", ".join(f"{end}_{part}" for end in ENDS for part in LENT)}
    FROM calibration_family WHERE id = ANY(%s) AND members > %s
"""  # noqa: S608 - names of columns, written above


def lent_to(told: Told, points: Points) -> Prior:
    """What is believed of each column beforehand: by its family, or the wide default (one query at
    most).
    """
    ids = points.family[told.place]
    prior = default_prior(told.tolerance)
    known = np.unique(ids[ids > 0])
    if not known.size:
        return prior
    # The default's arrays may be one and the same: each gets its own before families are filled in.
    prior = replace(
        prior,
        rate=prior.rate.copy(),
        mean_sd=prior.mean_sd.copy(),
        weights=np.repeat(prior.weights, len(told), axis=1),
    )
    with connection.cursor() as cursor:
        execute(cursor, FAMILIES, [BigInts.of(known), FEWEST_OTHERS])
        families = cursor.fetchall()
    for pk, members, tolerance, *lent in families:
        for end in range(len(ENDS)):
            rate, spread, mean_sd, weights = lent[4 * end : 4 * end + 4]
            mine = (ids == pk) & (told.end == end)
            if not mine.any() or not weights:
                continue
            prior.rate[mine], prior.spread[mine], prior.mean_sd[mine] = rate, spread, mean_sd
            prior.weights[:, mine] = np.array(weights)[:, None]
            prior.q[:, mine] = (NODES[:, None] * tolerance) ** 2
            prior.others[mine] = members - 1
    return prior
