"""Standing results of the transmitters now at their points, read as columns: for one point or for a fleet.

The server packs the rows into bytes, so that a million of them come over in a few messages instead of a million tuples.
Read-only; used by trends and fleet.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from django.db import connection

from calibration.operations.families import KEY

DAYS_PER_YEAR = 365.25
DAY_0 = dt.date(2000, 1, 1)
# Where a record carries no uncertainty: standard uncertainty of its errors, as a share of the tolerance. Rather small:
# what is no error of reading is then taken for wandering, and the bands come out wider, not narrower.
ASSUMED_U = 0.05

ADJUSTED, STARTS, FOUND_OUT, SIMULATED = 1, 2, 256, 512
FRESH, ASIDE, COUNTED = (4, 8), (16, 32), (64, 128)  # at zero, at span

ROW = np.dtype([
    ("point", ">i8"), ("record", ">i8"), ("day", ">i4"), ("flags", ">i4"),
    ("found_zero", ">f8"), ("found_span", ">f8"), ("left_zero", ">f8"), ("left_span", ">f8"),
    ("u_zero", ">f8"), ("u_span", ">f8"), ("shared_zero", ">f8"), ("shared_span", ">f8"),
])  # fmt: skip

# A failure or a repair starts a segment of its own. A step with a cause other than a repair, or still without one,
# is a fresh level; a bad reading, or what looks like one, is set aside.
SET_ASIDE = "({0}.cause = 'bad reading' OR {0}.cause = '' AND {0}.kind = 'bad reading')"
LEVEL = "({0}.cause NOT IN ('bad reading', 'drift') AND NOT ({0}.cause = '' AND {0}.kind = 'bad reading'))"
RESULTS = f"""
    SELECT string_agg(int8send(point_id) || int8send(id) || int4send(day) || int4send(flags)
        || float8send(found_at_zero) || float8send(found_at_span)
        || float8send(left_at_zero) || float8send(left_at_span)
        || float8send(u_zero) || float8send(u_span) || float8send(u_zero_shared) || float8send(u_span_shared), '')
    FROM (
        SELECT r.point_id, r.id, r.done_on - DATE '2000-01-01' AS day,
            r.adjusted::int
            + 2 * (r.shows_failure OR j.id IS NOT NULL
                OR coalesce(z.cause = 'repair', false) OR coalesce(s.cause = 'repair', false))::int
            + 4 * coalesce({LEVEL.format("z")}, false)::int
            + 8 * coalesce({LEVEL.format("s")}, false)::int
            + 16 * coalesce({SET_ASIDE.format("z")}, false)::int
            + 32 * coalesce({SET_ASIDE.format("s")}, false)::int
            + 64 * (z.cause IS NOT DISTINCT FROM 'drift')::int
            + 128 * (s.cause IS NOT DISTINCT FROM 'drift')::int
            + 256 * (r.found_verdict = 'fail')::int
            + 512 * (r.way = 'simulated output')::int AS flags,
            coalesce(r.found_at_zero, 'NaN') AS found_at_zero, coalesce(r.found_at_span, 'NaN') AS found_at_span,
            coalesce(r.left_at_zero, 'NaN') AS left_at_zero, coalesce(r.left_at_span, 'NaN') AS left_at_span,
            coalesce(r.u_zero, 'NaN') AS u_zero, coalesce(r.u_span, 'NaN') AS u_span,
            coalesce(r.u_zero_shared, 0) AS u_zero_shared, coalesce(r.u_span_shared, 0) AS u_span_shared
        FROM calibration_calibration r
        JOIN plant_installation i ON i.point_id = r.point_id AND i.transmitter_id = r.transmitter_id
            AND i.removed_on IS NULL
        LEFT JOIN calibration_job j ON j.id = r.job_id AND j.why = 'after repair'
        LEFT JOIN calibration_stepquestion z ON z.record_id = r.id AND z."end" = 'zero'
        LEFT JOIN calibration_stepquestion s ON s.record_id = r.id AND s."end" = 'span'
        WHERE r.point_id = ANY(%s) AND r.state = 'approved' AND NOT EXISTS (
            SELECT 1 FROM calibration_calibration a WHERE a.amends_id = r.id AND a.state = 'approved')
    ) rows
"""  # noqa: S608 - parts written above

# Tolerance in % of span, as plant.level.tolerance has it.
POINTS = f"""
    SELECT p.id, p.site_id, i.transmitter_id, f.id, p.next_due, p.interval_months,
        CASE p.tolerance_unit WHEN '%%' THEN p.tolerance::float8
            WHEN 'mA' THEN 100 * p.tolerance::float8 / CASE p.signal WHEN '0-20mA' THEN 20 ELSE 16 END
            ELSE 0.1 * p.tolerance::float8 / abs(p.upper_base - p.lower_base) END,
        p.duty,
        CASE WHEN t.principle IN ('capacitance rod', 'capacitance rope') THEN
            (SELECT array_agg(c."on") FROM plant_productchange c WHERE c.tank_id = p.tank_id) END
    FROM plant_measuringpoint p
    JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
    JOIN plant_transmitter t ON t.id = i.transmitter_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
    LEFT JOIN calibration_family f ON f.key = {KEY}
    WHERE p.id = ANY(%s) ORDER BY p.id
"""  # noqa: S608 - parts written above


class PointFacts(NamedTuple):
    """A point with a transmitter, as a forecast needs it, in the order of POINTS. tolerance: ± % of span."""

    point_id: int
    site_id: int
    transmitter_id: int
    family_id: int | None
    next_due: dt.date
    interval_months: int
    tolerance: float
    duty: str
    product_changes: list[dt.date] | None


@dataclass(frozen=True)
class Results:
    """One row a visit and point, ordered by point and day. Readings in % of span; columns for zero and for span.

    ``fresh``: a new level begins with this visit. ``begins``: and a new rate too. ``counted``: somebody said that the
    increment to it is drift like any other.
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


def points_of(point_ids: list[int]) -> list[PointFacts]:
    """The points at which a transmitter hangs, by their number (one query)."""
    with connection.cursor() as cursor:
        cursor.execute(POINTS, [point_ids])
        return list(map(PointFacts._make, cursor.fetchall()))


def results_of(points: list[PointFacts]) -> Results:
    """All standing results of these points since their last segment began (one query)."""
    with connection.cursor() as cursor:
        cursor.execute(RESULTS, [[point.point_id for point in points]])
        packed = cursor.fetchone()[0]
    rows = np.frombuffer(packed or b"", dtype=ROW)
    rows = rows[np.lexsort((rows["record"], rows["day"], rows["point"]))]
    flags, point = rows["flags"].astype(int), rows["point"].astype(np.int64)
    day = rows["day"].astype(int)

    def both(name: str) -> np.ndarray:
        return np.array([rows[f"{name}_zero"], rows[f"{name}_span"]], dtype=float)

    found, left = both("found"), both("left")
    fresh = np.array([(flags & bit) > 0 for bit in FRESH])
    fresh |= _after_product_change(points, point, day)
    counted = np.array([(flags & bit) > 0 for bit in COUNTED])
    aside = np.array([(flags & bit) > 0 for bit in ASIDE])
    adjusted = (flags & ADJUSTED) > 0
    # A bad reading that was adjusted after still has its as left; without adjustment it has nothing.
    found[aside] = np.nan
    left[aside & ~adjusted] = np.nan
    begins = (flags & STARTS) > 0
    found[:, begins] = np.nan
    kept, trimmed = _whole_chain(point, (flags & SIMULATED) > 0, adjusted)
    fresh |= trimmed
    kept &= _since_last_start(point, begins)
    tolerance = np.array([p.tolerance for p in points])
    own = tolerance[np.searchsorted([p.point_id for p in points], point)] if len(point) else point
    u = both("u")
    u = np.where(u > 0, u, ASSUMED_U * own)
    return Results(
        point[kept], rows["record"].astype(np.int64)[kept], day[kept], adjusted[kept], begins[kept],
        ((flags & FOUND_OUT) > 0)[kept],
        fresh[:, kept], counted[:, kept], found[:, kept], left[:, kept], u[:, kept],
        np.minimum(both("shared"), u)[:, kept],
    )  # fmt: skip


def _after_product_change(
    points: list[PointFacts], point: np.ndarray, day: np.ndarray
) -> np.ndarray:
    """Where another product came between a visit and the one before it."""
    changed = np.zeros(len(point), dtype=bool)
    for one in points:
        if not one.product_changes:
            continue
        low, high = np.searchsorted(point, [one.point_id, one.point_id + 1])
        for on in one.product_changes:
            at = low + np.searchsorted(day[low:high], (on - DAY_0).days)
            if low < at < high:
                changed[at] = True
    return changed


def _whole_chain(
    point: np.ndarray, simulated: np.ndarray, adjusted: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Which visits tell of the same error, and where an output trim in between makes a fresh level.

    A simulated output leaves the probe out. Where a point has visits of both kinds those with the probe count; stages
    are told apart elsewhere (calibration.operations.stages).
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
