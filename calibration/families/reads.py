"""Pass and fail of whole families, over all sites: only numbers go from one site to another.

A result belongs to the family of the product that was in the tank when it was taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from django.db import connection

from calibration.families.keys import LIQUID_MATTERS, PARTS, STRIDE
from calibration.families.models import Family
from calibration.metrology.visit_results import Results, times_since_renewal

MOST = 1000
DAYS_PER_YEAR = 365.25


RECORDS = """
    FROM calibration_calibration r
    JOIN plant_transmitter t ON t.id = r.transmitter_id
    JOIN plant_measuringpoint p ON p.id = r.point_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
    LEFT JOIN plant_product w ON w.site_id = r.site_id AND w.name = r.product_name
"""
STANDING = """
    WHERE r.state = 'approved' AND NOT EXISTS (
        SELECT 1 FROM calibration_calibration a
        WHERE a.amends_id = r.id AND a.amends_id IS NOT NULL AND a.state = 'approved')
"""
CONDUCTS = "coalesce(w.conducts, q.conducts)"
# An inconclusive result counts as in when the error itself lay within the tolerance.
DOWN = "coalesce(r.tolerance_down, r.tolerance)"
MIDDLE = f"(r.tolerance_percent * (r.tolerance - {DOWN}) / (r.tolerance + {DOWN}))::float8"


def within_sql(error: str) -> str:
    """Whether an error of record r lies within its limits; the largest is the one furthest beyond
    its own limit.
    """
    return f"""CASE r.tolerance_sides
        WHEN 'at most' THEN {error}
        WHEN 'at least' THEN -{error}
        ELSE abs({error} - {MIDDLE}) END <= r.tolerance_percent + 1e-9"""


FOUND_IN = f"{within_sql('r.found_largest')} AND NOT r.shows_failure"
LEFT_IN = within_sql("coalesce(r.left_largest, r.found_largest)")

RESULTS = f"""
    SELECT r.transmitter_id, r.point_id, r.done_on - DATE '2000-01-01', t.site_id, t.maker,
        coalesce({FOUND_IN}, false), coalesce({LEFT_IN}, false), r.adjusted,
        r.found_largest IS NULL AND NOT r.shows_failure OR coalesce(j.why = 'after repair', false)
    {RECORDS} LEFT JOIN calibration_job j ON j.id = r.job_id {STANDING}
        AND (t.id * {STRIDE}) %% {PARTS} < %s AND t.principle = %s
        AND (NOT {LIQUID_MATTERS} OR {CONDUCTS} IS NOT DISTINCT FROM %s)
    ORDER BY r.transmitter_id, r.done_on, r.id
"""  # noqa: S608 - parts written above


@dataclass(frozen=True, eq=False)
class FamilyResults:
    """What a family's standing records say of staying in tolerance. site, maker: of each instrument
    of ``seen``.

    seen: None where no instrument was visited twice. records: how many there are in all; the first
    of an instrument, and those after a fail that was not put right, say nothing of it.
    """

    seen: Results | None
    site: np.ndarray
    maker: np.ndarray
    records: int


def results_of(family: Family) -> FamilyResults:
    """Pass and fail of the family over all sites, by time since renewal. A transmitter is an
    instrument.

    Its clock begins again with an adjustment that left it in tolerance, with a repair, at another
    point, and where the as found is missing; found dead is found out. Of a large family about MOST
    transmitters, always the same ones, stand for all.
    """
    part = math.ceil(PARTS * min(1.0, MOST / max(family.members, 1)))
    with connection.cursor() as cursor:
        cursor.execute(RESULTS, [part, family.principle, family.conducts])
        rows = cursor.fetchall()
    nothing = FamilyResults(None, np.zeros(0), np.zeros(0), len(rows))
    if not rows:
        return nothing
    columns = zip(*rows, strict=True)
    device, point, day, site, maker, found_in, left_in, adjusted, fresh = map(np.array, columns)
    begins = np.r_[True, (device[1:] != device[:-1]) | (point[1:] != point[:-1])] | fresh
    stint = np.cumsum(begins)
    # Several records of one day: found as the first says, left as the last does.
    first = np.flatnonzero(np.r_[True, (stint[1:] != stint[:-1]) | (day[1:] != day[:-1])])
    found_in = np.where(begins & fresh, left_in, found_in)[first]
    renewed = np.logical_or.reduceat(left_in & (adjusted | (begins & fresh)), first)
    times = times_since_renewal(stint[first], day[first] / DAYS_PER_YEAR, found_in, renewed)
    if not len(times.row):
        return nothing
    visit = first[times.row]
    seen = Results.of(device[visit], times.start, times.end, times.out)
    one = np.unique(device[visit], return_index=True)[1]
    return FamilyResults(seen, site[visit][one], maker[visit][one], len(rows))
