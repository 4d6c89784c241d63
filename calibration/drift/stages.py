"""Output stage and primary element of one transmitter, separated where its records hold readings
of both kinds.

A simulated output leaves the probe out; a wetted level goes through both. An output trim moves the
one, zero and span set on the tank the other (calibration.metrology.stages).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from django.db import connection

from calibration.drift.histories import ENDS
from calibration.drift.results import ASSUMED_U, DAYS_PER_YEAR
from calibration.metrology.drift import CannotFit
from calibration.metrology.stage_visits import Visits
from calibration.metrology.stages import estimate
from calibration.metrology.wander import default_prior

# Of the transmitter now there, since its last repair or failure; kinds: what was adjusted.
RECORDS = """
    SELECT r.done_on - DATE '2000-01-01', r.way = 'simulated output',
        r.found_at_{end}, r.left_at_{end}, r.u_{end}, r.u_{end}_shared,
        r.shows_failure OR j.id IS NOT NULL,
        ARRAY(SELECT a.kind FROM calibration_adjustment a WHERE a.record_id = r.id)
    FROM calibration_calibration r
    JOIN plant_installation i ON i.point_id = r.point_id AND i.transmitter_id = r.transmitter_id
        AND i.removed_on IS NULL
    LEFT JOIN calibration_job j ON j.id = r.job_id AND j.why = 'after repair'
    WHERE r.point_id = %s AND r.state = 'approved' AND NOT EXISTS (
        SELECT 1 FROM calibration_calibration a WHERE a.amends_id = r.id AND a.state = 'approved')
    ORDER BY r.done_on, r.id
"""


@dataclass(frozen=True)
class Stage:
    """rate, low, high: % of span a year with the 95 % interval. observed: False where no reading
    shows it.
    """

    name: str
    rate: float
    low: float
    high: float
    observed: bool


@dataclass
class _Visit:
    simulated: float = np.nan
    wetted: float = np.nan
    simulated_left: float = np.nan
    wetted_left: float = np.nan
    trimmed: bool = False
    adjusted: bool = False
    u_simulated: float = np.nan
    u_wetted: float = np.nan
    common_simulated: float = 0.0
    common_wetted: float = 0.0


def stages_of(point_id: int, end: str, *, tolerance: float) -> list[Stage]:
    """Output stage and primary element at zero or span; empty where the records hold one kind only
    (one query).
    """
    if end not in ENDS:
        raise ValueError(f"end: {end} is neither zero nor span")
    with connection.cursor() as cursor:
        cursor.execute(RECORDS.format(end=end), [point_id])
        rows = cursor.fetchall()
    starts = [n for n, row in enumerate(rows) if row[6]]
    rows = rows[starts[-1] :] if starts else rows
    if len({row[1] for row in rows if row[2] is not None}) < 2:
        return []
    visits: dict[int, _Visit] = {}
    for row in rows:
        _enter(visits.setdefault(row[0], _Visit()), row, tolerance)
    return _estimated(visits, tolerance)


def _enter(visit: _Visit, row: tuple, tolerance: float) -> None:
    _, is_simulated, found, left, u, shared, starts, kinds = row
    kind = "simulated" if is_simulated else "wetted"
    if found is not None and not starts:
        setattr(visit, kind, found)
    if left is not None:
        setattr(visit, f"{kind}_left", left)
    u = u or ASSUMED_U * tolerance
    setattr(visit, f"u_{kind}", u)
    setattr(visit, f"common_{kind}", min(shared or 0.0, u))
    visit.trimmed |= any(kind.startswith("output") for kind in kinds)
    visit.adjusted |= any(not kind.startswith("output") for kind in kinds)


def _estimated(visits: dict[int, _Visit], tolerance: float) -> list[Stage]:
    days = sorted(visits)
    columns = {
        name: [getattr(visits[day], name) for day in days] for name in _Visit.__dataclass_fields__
    }
    prior = default_prior(tolerance)
    try:
        gathered = Visits.of(np.array(days) / DAYS_PER_YEAR, **columns)
        fit = estimate(gathered, output=prior, primary=prior)
    except CannotFit:
        return []
    bands = (
        ("output stage", fit.output_rate(), fit.output_observed),
        ("primary element", fit.primary_rate(), fit.primary_observed),
    )
    return [
        Stage(name, float(b.centre[0]), float(b.lower[0]), float(b.upper[0]), bool(seen[0]))
        for name, b, seen in bands
    ]
