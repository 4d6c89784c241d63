"""Standing results of the transmitters now at their points, read as columns: for one point or for a
whole fleet.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from django.db import connection

from calibration.arrays import BigInts, execute
from calibration.drift.rows import (
    ADJUSTED,
    ASIDE,
    COUNTED,
    DUTIES,
    FAILED,
    FOUND_OUT,
    LEVEL,
    MARK,
    POINT,
    POINT_ALONE,
    POINT_TYPE,
    POINTS,
    REPAIR,
    RESULTS,
    ROW,
    SIMULATED,
)
from calibration.metrology.shapes import POSITIONS
from plant.level.tolerance import SIDES, WHOLE_SPAN, Limits

DAYS_PER_YEAR = 365.25
DAY_0 = dt.date(2000, 1, 1)
# Where a record carries no uncertainty: standard uncertainty of its errors, as a share of the
# tolerance. Rather small: what is no error of reading is then taken for wandering, and the bands
# come out wider, not narrower.
ASSUMED_U = 0.05


class PointRow(NamedTuple):
    """A point with a transmitter, as a forecast needs it. family_id: None without one. limits: of
    an error, % of span.
    """

    point_id: int
    site_id: int
    transmitter_id: int
    family_id: int | None
    next_due: dt.date
    interval_months: int
    duty: str
    limits: Limits


@dataclass(frozen=True)
class Points:
    """Points with a transmitter, in columns, by their number. family: 0 without one. due: day
    counted from DAY_0. size, middle, sides: of the tolerance, % of span (plant.level.tolerance; of
    SIDES, from 1). guard, risk: of the decision rule, in standard uncertainties, and the
    allowed risk of a false accept; 0 by another rule. floor: the least chance of passing that
    leaves them out of doubt.

    product_changes: the days of a point whose reading depends on the product, counted from DAY_0;
    only where any are.
    """

    id: np.ndarray
    site: np.ndarray
    transmitter: np.ndarray
    family: np.ndarray
    due: np.ndarray
    months: np.ndarray
    duty: np.ndarray
    size: np.ndarray
    middle: np.ndarray
    sides: np.ndarray
    guard: np.ndarray
    risk: np.ndarray
    floor: np.ndarray
    product_changes: dict[int, list[int]]

    def __len__(self) -> int:
        return len(self.id)

    def __getitem__(self, place: int) -> PointRow:
        return PointRow(
            int(self.id[place]),
            int(self.site[place]),
            int(self.transmitter[place]),
            int(self.family[place]) or None,
            date_of(self.due[place]),
            int(self.months[place]),
            self.duty_of(place),
            self.limits_of(place),
        )

    @cached_property
    def centre(self) -> np.ndarray:
        """What is taken from every error, so that it is compared with ± ``tolerance``."""
        beside = (self.size - WHOLE_SPAN) / 2
        return np.choose(self.sides - 1, [self.middle, beside, -beside])

    @cached_property
    def tolerance(self) -> np.ndarray:
        """Half the width between the limits, % of span."""
        return np.where(self.sides == 1, self.size, (self.size + WHOLE_SPAN) / 2)

    def limits_of(self, place: int) -> Limits:
        half, centre = float(self.tolerance[place]), float(self.centre[place])
        return Limits(half - centre, half + centre, SIDES[self.sides[place] - 1])

    def duty_of(self, place: int) -> str:
        return str(DUTIES[self.duty[place] - 1])


@dataclass(frozen=True)
class Results:
    """One row a visit and point, ordered by point and day. Readings in % of span, less the centre
    between the limits of the point; columns for zero and for span.

    ``shape``: 9 by rows, as calibration.metrology.shapes has it, the mean of ``tests`` tests.
    ``fresh``: a new level begins with this visit. ``begins``: and a new rate too. ``counted``:
    somebody said that the increment to it is drift like any other.
    """

    point: np.ndarray
    record: np.ndarray
    day: np.ndarray
    adjusted: np.ndarray
    begins: np.ndarray
    found_out: np.ndarray
    fresh: np.ndarray
    counted: np.ndarray
    found: np.ndarray
    left: np.ndarray
    u: np.ndarray
    shared: np.ndarray
    shape: np.ndarray
    tests: np.ndarray

    def __len__(self) -> int:
        return len(self.point)


def points_of(point_ids: Sequence[int]) -> Points:
    """The points that have a transmitter, by their number (one query)."""
    alone = len(point_ids) == 1
    wanted = point_ids[0] if alone else BigInts.of(point_ids)
    with connection.cursor() as cursor:
        named = [list(DUTIES), list(SIDES), wanted]
        execute(cursor, POINT_ALONE if alone else POINTS, named)
        packed, changes = cursor.fetchone()
    rows = np.frombuffer(packed or b"", dtype=POINT_TYPE)
    rows = rows[np.argsort(rows["id"])]
    columns = {
        cell.name: rows[cell.name].astype(rows[cell.name].dtype.newbyteorder("=")) for cell in POINT
    }
    changed = {int(pk): days for pk, days in json.loads(changes or "{}").items()}
    return Points(**columns, product_changes=changed)


def results_of(points: Points) -> Results:
    """All standing results of these points since their last segment began (one query)."""
    with connection.cursor() as cursor:
        execute(cursor, RESULTS, {"points": BigInts.of(points.id)})
        packed, questions, repairs = cursor.fetchone()
    rows = _standing(np.frombuffer(packed or b"", dtype=ROW), points)
    flags, point, day = (rows[name].astype(int) for name in ("flags", "point", "day"))
    marks = _marks(rows["record"], np.frombuffer(questions or b"", dtype=MARK))
    adjusted = (flags & ADJUSTED) > 0
    begins = ((flags & FAILED) > 0) | (marks == REPAIR).any(axis=0)
    if repairs:
        begins |= np.isin(rows["job"].astype(int), repairs)
    centre = points.centre[np.searchsorted(points.id, point)] if len(point) else 0.0
    found, left = (
        values - centre for values in _readings(rows, begins, adjusted, aside=marks == ASIDE)
    )
    u, shared = _uncertainties(rows, point, points)
    kept, trimmed = _whole_chain(point, (flags & SIMULATED) > 0, adjusted)
    fresh = (marks == LEVEL) | _after_product_change(points, point, day) | trimmed
    kept &= _since_last_start(point, begins)
    return Results(
        point[kept],
        rows["record"].astype(int)[kept],
        day[kept],
        adjusted[kept],
        begins[kept],
        ((flags & FOUND_OUT) > 0)[kept],
        fresh[:, kept],
        (marks == COUNTED)[:, kept],
        found[:, kept],
        left[:, kept],
        u[:, kept],
        shared[:, kept],
        np.array([rows[f"shape_{n}"][kept] for n in range(POSITIONS)], dtype=np.float32),
        1 + (adjusted & ~np.isnan(rows["found_zero"]))[kept],
    )


def _both(rows: np.ndarray, name: str) -> np.ndarray:
    return np.array([rows[f"{name}_zero"], rows[f"{name}_span"]], dtype=float)


def _readings(
    rows: np.ndarray, begins: np.ndarray, adjusted: np.ndarray, *, aside: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """As found and as left; what starts a segment or is set aside has no as found to compare."""
    found, left = _both(rows, "found"), _both(rows, "left")
    found[aside] = np.nan
    # A bad reading that was adjusted after still has its as left; without adjustment it has
    # nothing.
    left[aside & ~adjusted] = np.nan
    found[:, begins] = np.nan
    return found, left


def _uncertainties(
    rows: np.ndarray, point: np.ndarray, points: Points
) -> tuple[np.ndarray, np.ndarray]:
    """Standard uncertainty, and the part of it that readings share."""
    own = points.size[np.searchsorted(points.id, point)] if len(point) else point
    u = _both(rows, "u")
    u = np.where(u > 0, u, ASSUMED_U * own)
    return u, np.minimum(_both(rows, "shared"), u)


def _standing(rows: np.ndarray, points: Points) -> np.ndarray:
    """Of the transmitters now there and not amended, in order of point and day."""
    place = np.searchsorted(points.id, rows["point"].astype(int))
    stands = points.transmitter[place] == rows["transmitter"] if len(rows) else np.zeros(0, bool)
    amends = rows["amends"].astype(int)
    if amends.any():
        stands &= ~np.isin(rows["record"].astype(int), amends[amends > 0])
    if not stands.all():
        rows = rows[stands]
    point, day, record = (rows[name].astype(int) for name in ("point", "day", "record"))
    later = np.diff(point), np.diff(day), np.diff(record)
    in_order = (later[0] > 0) | (later[0] == 0) & (
        (later[1] > 0) | (later[1] == 0) & (later[2] > 0)
    )  # as they come where the index alone was read
    return rows if in_order.all() else np.asarray(rows[np.lexsort((record, day, point))])


def _marks(record: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """What the questions about jumps mean for each row, at zero and at span (2 by rows); 0: no
    question.
    """
    marks = np.zeros((2, len(record)), dtype=int)
    if len(marked) and len(record):
        order = np.argsort(record)
        place = order[
            np.minimum(np.searchsorted(record, marked["record"], sorter=order), len(order) - 1)
        ]
        here = record[place] == marked["record"]
        marks[marked["end"][here], place[here]] = marked["means"][here]
    return marks


def _after_product_change(points: Points, point: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Where another product came between a visit and the one before it."""
    changed = np.zeros(len(point), dtype=bool)
    for pk, days in points.product_changes.items():
        low, high = np.searchsorted(point, [pk, pk + 1])
        for on in days:
            at = low + np.searchsorted(day[low:high], on)
            if low < at < high:
                changed[at] = True
    return changed


def _whole_chain(
    point: np.ndarray, simulated: np.ndarray, adjusted: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Which visits measure the same error, and where an output trim in between makes a new level.

    A simulated output leaves the probe out. Where a point has visits of both kinds those with the
    probe count; calibration.drift.stages separates the two.
    """
    if not simulated.any():
        return np.ones(len(point), dtype=bool), np.zeros(len(point), dtype=bool)
    first = np.flatnonzero(np.r_[True, point[1:] != point[:-1]])
    sizes = np.diff(np.r_[first, len(point)])
    only = np.repeat(np.logical_and.reduceat(simulated, first), sizes)
    kept = ~simulated | only
    trims = np.cumsum(~kept & adjusted)
    at = np.flatnonzero(kept)
    fresh = np.zeros(len(point), dtype=bool)
    fresh[at[1:]] = (trims[at[1:]] != trims[at[:-1]]) & (point[at[1:]] == point[at[:-1]])
    return kept, fresh


def _since_last_start(point: np.ndarray, begins: np.ndarray) -> np.ndarray:
    """The rows from the last start of each point on."""
    if not len(point):
        return np.zeros(0, dtype=bool)
    place = np.arange(len(point))
    first = np.flatnonzero(np.r_[True, point[1:] != point[:-1]])
    last_start = np.maximum.reduceat(np.where(begins, place, -1), first)
    return place >= np.repeat(last_start, np.diff(np.r_[first, len(point)]))


def date_of(day: int) -> dt.date:
    return DAY_0 + dt.timedelta(int(day))
