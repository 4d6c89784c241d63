"""Standing results of the transmitters now at their points, read as columns: for one point or for a
fleet.

The server packs the rows into bytes, so that a million of them come over in a few messages instead
of a million tuples. Read-only; used by trends and fleet.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from django.db import connection

from calibration.arrays import BigInts, execute
from calibration.families.reads import KEY
from plant.points.models import MeasuringPoint

DAYS_PER_YEAR = 365.25
DAY_0 = dt.date(2000, 1, 1)
# Where a record carries no uncertainty: standard uncertainty of its errors, as a share of the
# tolerance. Rather small: what is no error of reading is then taken for wandering, and the bands
# come out wider, not narrower.
ASSUMED_U = 0.05

ADJUSTED, FAILED, FOUND_OUT, SIMULATED = 1, 2, 4, 8
ROW = np.dtype(
    [
        ("point", ">i8"),
        ("record", ">i8"),
        ("amends", ">i8"),
        ("transmitter", ">i8"),
        ("job", ">i8"),
        ("day", ">i4"),
        ("flags", ">i4"),
        ("found_zero", ">f8"),
        ("found_span", ">f8"),
        ("left_zero", ">f8"),
        ("left_span", ">f8"),
        ("u_zero", ">f8"),
        ("u_span", ">f8"),
        ("shared_zero", ">f8"),
        ("shared_span", ">f8"),
    ]
)
# A failure or a repair starts a segment of its own. A step with a cause other than a repair, or
# still without one, is a fresh level; a bad reading, or what looks like one, is set aside; "drift"
# counts like any other.
REPAIR, LEVEL, ASIDE, COUNTED = 1, 2, 3, 4
MARK = np.dtype([("record", ">i8"), ("end", ">i4"), ("means", ">i4")])
# Three plain scans, the first of an index alone (its column drift_row). NumPy puts
# together what belongs together, which no query planner can misjudge.
RESULTS = """
    SELECT (
        SELECT string_agg(drift_row, '')
        FROM calibration_calibration WHERE point_id = ANY(%(points)s) AND state = 'approved'
    ), (
        SELECT string_agg(int8send(record_id) || int4send(("end" = 'span')::int) || int4send(CASE
            WHEN cause = 'repair' THEN 1
            WHEN cause = 'drift' THEN 4
            WHEN cause = 'bad reading' OR cause = '' AND kind = 'bad reading' THEN 3
            ELSE 2 END), '')
        FROM calibration_stepquestion WHERE point_id = ANY(%(points)s)
    ), (
        SELECT array_agg(id) FROM calibration_job WHERE why = 'after repair' AND point_id = ANY(%(points)s)
    )
"""

POINT = np.dtype(
    [
        ("id", ">i8"),
        ("site", ">i8"),
        ("transmitter", ">i8"),
        ("family", ">i8"),
        ("due", ">i4"),
        ("months", ">i4"),
        ("duty", ">i4"),
        ("tolerance", ">f8"),
    ]
)
COLUMNS = ("id", "site", "transmitter", "family", "due", "months", "duty", "tolerance")
DUTIES = MeasuringPoint.Duty.values
# Tolerance in % of span, as plant.level.tolerance has it.
POINTS = f"""
    SELECT string_agg(int8send(id) || int8send(site_id) || int8send(transmitter_id) || int8send(family)
            || int4send(due) || int4send(interval_months) || int4send(duty) || float8send(tolerance), ''),
        (jsonb_object_agg(id, changes) FILTER (WHERE changes IS NOT NULL))::text
    FROM (
        SELECT p.id, p.site_id, i.transmitter_id, coalesce(f.id, 0) AS family, p.next_due - DATE '2000-01-01' AS due,
            p.interval_months, array_position(%s::text[], p.duty::text) AS duty,
            CASE p.tolerance_unit WHEN '%%' THEN p.tolerance::float8
                WHEN 'mA' THEN 100 * p.tolerance::float8 / CASE p.signal WHEN '0-20mA' THEN 20 ELSE 16 END
                ELSE 0.1 * p.tolerance::float8 / abs(p.upper_base - p.lower_base) END AS tolerance,
            CASE WHEN t.principle IN ('capacitance rod', 'capacitance rope') THEN
                (SELECT array_agg(c."on" - DATE '2000-01-01' ORDER BY c."on")
                 FROM plant_productchange c WHERE c.tank_id = p.tank_id) END AS changes
        FROM plant_measuringpoint p
        JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
        JOIN plant_transmitter t ON t.id = i.transmitter_id
        JOIN plant_tank k ON k.id = p.tank_id
        LEFT JOIN plant_product q ON q.id = k.product_id
        LEFT JOIN calibration_family f ON f.key = {KEY}
        WHERE p.id = ANY(%s)
    ) rows
"""  # noqa: S608 - parts written above


# For one point: a plan that holds for any is kept, where the server would make one for each list
# anew (2 ms).
POINT_ALONE = POINTS.replace("p.id = ANY(%s)", "p.id = %s")


class PointFacts(NamedTuple):
    """A point with a transmitter, as a forecast needs it. family_id: None without one. tolerance: ±
    % of span.
    """

    point_id: int
    site_id: int
    transmitter_id: int
    family_id: int | None
    next_due: dt.date
    interval_months: int
    duty: str
    tolerance: float


@dataclass(frozen=True)
class Points:
    """Points with a transmitter, in columns, by their number. family: 0 without one. due: day
    counted from DAY_0.

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
    tolerance: np.ndarray
    product_changes: dict[int, list[int]]

    def __len__(self) -> int:
        return len(self.id)

    def __getitem__(self, place: int) -> PointFacts:
        return PointFacts(
            int(self.id[place]),
            int(self.site[place]),
            int(self.transmitter[place]),
            int(self.family[place]) or None,
            date_of(self.due[place]),
            int(self.months[place]),
            self.duty_of(place),
            float(self.tolerance[place]),
        )

    def duty_of(self, place: int) -> str:
        return str(DUTIES[self.duty[place] - 1])


@dataclass(frozen=True)
class Results:
    """One row a visit and point, ordered by point and day. Readings in % of span; columns for zero
    and for span.

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

    def __len__(self) -> int:
        return len(self.point)


def points_of(point_ids: Sequence[int]) -> Points:
    """The points at which a transmitter hangs, by their number (one query)."""
    alone = len(point_ids) == 1
    asked = point_ids[0] if alone else BigInts.of(point_ids)
    with connection.cursor() as cursor:
        execute(cursor, POINT_ALONE if alone else POINTS, [list(DUTIES), asked])
        packed, changes = cursor.fetchone()
    rows = np.frombuffer(packed or b"", dtype=POINT)
    rows = rows[np.argsort(rows["id"])]
    columns = {name: rows[name].astype(rows[name].dtype.newbyteorder("=")) for name in COLUMNS}
    changed = {int(pk): days for pk, days in json.loads(changes or "{}").items()}
    return Points(**columns, product_changes=changed)


def results_of(points: Points) -> Results:
    """All standing results of these points since their last segment began (one query)."""
    with connection.cursor() as cursor:
        execute(cursor, RESULTS, {"points": BigInts.of(points.id)})
        packed, marked, repairs = cursor.fetchone()
    rows = _standing(np.frombuffer(packed or b"", dtype=ROW), points)
    flags, point, day = (rows[name].astype(int) for name in ("flags", "point", "day"))
    marks = _marks(rows["record"], np.frombuffer(marked or b"", dtype=MARK))

    def both(name: str) -> np.ndarray:
        return np.array([rows[f"{name}_zero"], rows[f"{name}_span"]], dtype=float)

    found, left = both("found"), both("left")
    fresh = (marks == LEVEL) | _after_product_change(points, point, day)
    aside = marks == ASIDE
    adjusted = (flags & ADJUSTED) > 0
    # A bad reading that was adjusted after still has its as left; without adjustment it has
    # nothing.
    found[aside] = np.nan
    left[aside & ~adjusted] = np.nan
    begins = ((flags & FAILED) > 0) | (marks == REPAIR).any(axis=0)
    if repairs:
        begins |= np.isin(rows["job"].astype(int), repairs)
    found[:, begins] = np.nan
    kept, trimmed = _whole_chain(point, (flags & SIMULATED) > 0, adjusted)
    fresh |= trimmed
    kept &= _since_last_start(point, begins)
    own = points.tolerance[np.searchsorted(points.id, point)] if len(point) else point
    u = both("u")
    u = np.where(u > 0, u, ASSUMED_U * own)
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
        np.minimum(both("shared"), u)[:, kept],
    )


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
    """What the questions about steps mean for each row, at zero and at span (2 by rows); 0: nothing
    was asked.
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
    """Which visits tell of the same error, and where an output trim in between makes a fresh level.

    A simulated output leaves the probe out. Where a point has visits of both kinds those with the
    probe count; stages are told apart elsewhere (calibration.drift.stages).
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
