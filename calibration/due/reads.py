"""What the due list shows: counts and rows, each read at a cost that does not grow
with the register.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Exists, OuterRef, Q, QuerySet

from calibration.jobs.models import Job
from calibration.records.models import Calibration
from plant.level.tolerance import Limits
from plant.points.models import MeasuringPoint, interval_run
from plant.points.querysets import PointQuerySet
from plant.points.status import (
    IN_DOUBT,
    LATER_DAYS,
    NOT_CALIBRATED,
    SOON_DAYS,
    Status,
    status_on,
)
from plant.sites.models import Site

WITHOUT_A_JOB = "without a job"  # not a status: not calibrated or in doubt, and nobody has the job
ORDERS = {
    "status": ("condition", "next_due"),
    "due": ("next_due",),
    "-due": ("-next_due",),
    "tag": ("tag_key",),
    "-tag": ("-tag_key",),
}


@dataclass(frozen=True)
class Counts:
    no_transmitter: int
    not_calibrated: int
    in_doubt: int
    overdue: int
    soon: int
    later: int
    in_date: int
    deferred: int
    off: int

    @property
    def now(self) -> int:
        """What needs somebody."""
        known = self.no_transmitter + self.not_calibrated + self.in_doubt
        return known + self.overdue + self.soon

    @property
    def by_state(self) -> dict[str, int]:
        """By the keys of calibration.due.forms.STATES, in the order in which they are shown."""
        return {
            "now": self.now,
            "no transmitter": self.no_transmitter,
            "not calibrated": self.not_calibrated,
            "in doubt": self.in_doubt,
            "overdue": self.overdue,
            "soon": self.soon,
            "later": self.later,
            "in date": self.in_date,
            "deferred": self.deferred,
            "off": self.off,
        }


def points_in(
    sites: Iterable[Site], days: Mapping[int, dt.date], chosen: Mapping[str, Any]
) -> list[QuerySet]:
    """One queryset a site, each by its own day: ``chosen`` is what DueFilter read."""
    return [_points_of(site, days[site.pk], chosen) for site in sites]


def _points_of(site: Site, day: dt.date, chosen: Mapping[str, Any]) -> QuerySet:
    points = MeasuringPoint.objects.filter(site=site)
    if week := chosen.get("week"):
        # The first bar of the workload holds what is overdue as well.
        after = {} if week <= day else {"next_due__gte": week}
        points = points.in_service().filter(next_due__lt=week + dt.timedelta(7), **after)
    elif chosen.get("state") == WITHOUT_A_JOB:
        points = without_a_job(points.in_service())
    else:
        points = points.in_state(chosen.get("state") or "now", on=day)
    if area := chosen.get("area"):
        points = points.filter(tank__area=area)
    if duty := chosen.get("duty"):
        points = points.filter(duty=duty)
    if principle := chosen.get("principle"):
        points = points.filter(
            installations__removed_on=None, installations__transmitter__principle=principle
        )
    if text := chosen.get("text"):
        points = points.filter(
            Q(tag__icontains=text)
            | Q(tank__name__icontains=text)
            | Q(tank__product__name__icontains=text)
        )
    return points


def without_a_job(points: PointQuerySet) -> PointQuerySet:
    """Those that are not calibrated or in doubt, and no technician has a job to calibrate them."""
    known = points.filter(condition__in=(NOT_CALIBRATED, IN_DOUBT))
    jobs = Job.objects.filter(point=OuterRef("pk"), technician__isnull=False)
    return known.exclude(Exists(jobs.filter(state__in=(*Job.OPEN, Job.State.SUBMITTED))))


# ---- counts ----
COUNTS = """
    SELECT coalesce(sum(c.points) FILTER (WHERE c.condition = 0), 0),
        coalesce(sum(c.points) FILTER (WHERE c.condition = 1), 0),
        coalesce(sum(c.points) FILTER (WHERE c.condition = 2), 0),
        coalesce(sum(c.points) FILTER (WHERE by_calendar AND c.next_due < s.day), 0),
        coalesce(sum(c.points) FILTER (WHERE by_calendar AND NOT c.is_deferred
            AND c.next_due BETWEEN s.day AND s.day + %(soon)s), 0),
        coalesce(sum(c.points) FILTER (WHERE by_calendar AND NOT c.is_deferred
            AND c.next_due > s.day + %(soon)s AND c.next_due <= s.day + %(later)s), 0),
        coalesce(sum(c.points) FILTER (WHERE by_calendar AND NOT c.is_deferred
            AND c.next_due > s.day + %(later)s), 0),
        coalesce(sum(c.points) FILTER (WHERE by_calendar AND c.is_deferred
            AND c.next_due >= s.day), 0),
        (SELECT count(*) FROM plant_measuringpoint
            WHERE site_id = ANY(%(sites)s) AND out_of_service_on IS NOT NULL)
    FROM unnest(%(sites)s::bigint[], %(days)s::date[]) AS s (id, day)
    JOIN plant_duecount c ON c.site_id = s.id
    CROSS JOIN LATERAL (SELECT c.condition = 3 AS by_calendar) k
"""


def counts_of(days: Mapping[int, dt.date]) -> Counts:
    """Points of these sites (id to its own day) by status, out of the stored counts."""
    params = {
        "sites": list(days),
        "days": list(days.values()),
        "soon": SOON_DAYS,
        "later": LATER_DAYS,
    }
    [sums] = _fetch(COUNTS, params)
    return Counts(*sums)


# ---- rows ----
class Result(NamedTuple):
    """The last standing record of a point: what a span strip needs."""

    found: Sequence[float]
    left: Sequence[float]
    tolerance: Limits
    verdict: str
    done_on: dt.date


@dataclass(frozen=True, slots=True)
class DueRow:
    """One line of the list, as of ``day``: today by the site's clock."""

    pk: int
    site_id: int
    tag: str
    tank: str
    product: str
    area: str
    status: Status
    run: float | None
    hours: Any
    drift: float | None
    day: dt.date
    crossing_on: dt.date | None
    job: str
    technician: str
    job_day: dt.date | None
    round_id: int | None
    may_join: bool
    result: Result | None


# The page's ids come first and the joins after, so that they cost the same however long the list
# is.
ROWS = """
    SELECT p.id AS pk, p.site_id, p.tag, t.name AS tank, coalesce(q.name, '') AS product,
        a.name AS area, p.due_on, p.next_due, p.deferred_until IS NOT NULL AS is_deferred,
        p.condition, p.reasons, p.out_of_service_on, p.interval_months AS months,
        p.job_hours AS hours, d.zero_rate AS zero, d.span_rate AS span, d.crossing_on,
        coalesce(j.state, '') AS job, j.planned_on, j.round_id,
        coalesce(x.name, '') AS technician,
        r.found_errors, r.left_errors, r.tolerance, r.tolerance_down, r.tolerance_sides,
        r.tolerance_percent, r.verdict, r.done_on
    FROM unnest(%(ids)s::bigint[]) WITH ORDINALITY AS page (id, place)
    JOIN plant_measuringpoint p ON p.id = page.id
    JOIN plant_tank t ON t.id = p.tank_id
    JOIN plant_area a ON a.id = t.area_id
    LEFT JOIN plant_product q ON q.id = t.product_id
    LEFT JOIN calibration_trend d ON d.point_id = p.id
    LEFT JOIN calibration_job j ON j.point_id = p.id
        AND j.state IN ('planned', 'in hand', 'submitted', 'returned')
    LEFT JOIN plant_person x ON x.id = j.technician_id
    LEFT JOIN LATERAL (
        SELECT c.found_errors, c.left_errors, c.tolerance, c.tolerance_down, c.tolerance_sides,
            c.tolerance_percent, c.done_on,
            CASE WHEN c.found_verdict = '' THEN c.left_verdict ELSE c.found_verdict END AS verdict
        FROM calibration_calibration c
        WHERE c.point_id = p.id AND c.state = 'approved' AND NOT EXISTS (
            SELECT FROM calibration_calibration later
            WHERE later.amends_id = c.id AND later.state = 'approved')
        ORDER BY c.done_on DESC, c.id DESC LIMIT 1
    ) r ON true
    ORDER BY page.place
"""


class StoredRow(NamedTuple):
    """What ROWS gives, column by column."""

    pk: int
    site_id: int
    tag: str
    tank: str
    product: str
    area: str
    due_on: dt.date
    next_due: dt.date
    is_deferred: bool
    condition: int
    reasons: str
    off_on: dt.date | None
    months: int
    hours: Any
    zero: float | None
    span: float | None
    crossing_on: dt.date | None
    job: str
    planned_on: dt.date | None
    round_id: int | None
    technician: str
    found: Sequence[float]
    left: Sequence[float]
    tolerance: Decimal
    tolerance_down: Decimal | None
    tolerance_sides: str
    tolerance_percent: float
    verdict: str
    done_on: dt.date | None


def rows_of(ids: Sequence[int], days: Mapping[int, dt.date]) -> list[DueRow]:
    """The rows of one page, in the order of ``ids``; one query."""
    if not ids:
        return []
    return [_row(StoredRow(*row), days) for row in _fetch(ROWS, {"ids": list(ids)})]


def _row(row: StoredRow, days: Mapping[int, dt.date]) -> DueRow:
    day = days[row.site_id]
    status = status_on(
        day,
        condition=row.condition,
        next_due=row.next_due,
        deferred=row.is_deferred,
        out_of_service_on=row.off_on,
        reasons=json.loads(row.reasons),
    )
    planned = row.job == Job.State.PLANNED
    return DueRow(
        pk=row.pk,
        site_id=row.site_id,
        tag=row.tag,
        tank=row.tank,
        product=row.product,
        area=row.area,
        status=status,
        run=None if row.off_on else interval_run(row.due_on, row.months, on=day),
        hours=row.hours,
        drift=_faster(row.zero, row.span),
        day=day,
        crossing_on=row.crossing_on,
        job=row.job,
        technician=row.technician,
        job_day=row.planned_on if planned else None,
        round_id=row.round_id,
        may_join=row.off_on is None and (not row.job or (planned and row.round_id is None)),
        result=_result(row),
    )


def _result(row: StoredRow) -> Result | None:
    if row.done_on is None:
        return None
    given = row.tolerance, row.tolerance_down, row.tolerance_sides
    limits = Limits.of(*given).scaled_to(row.tolerance_percent)
    return Result(row.found, row.left, limits, row.verdict, row.done_on)


def _faster(zero: float | None, span: float | None) -> float | None:
    """The faster of the two drifts: it reaches the tolerance first."""
    return max((rate for rate in (zero, span) if rate is not None), key=abs, default=None)


def _fetch(sql: str, params: Mapping[str, Any]) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        return cursor.fetchall()


def results_of(record_ids: Iterable[int]) -> dict[int, Result]:
    """What a span strip needs, by record."""
    ids = list(record_ids)
    if not ids:
        return {}
    records = Calibration.objects.filter(pk__in=ids).only(
        "found_errors",
        "left_errors",
        "tolerance",
        "tolerance_down",
        "tolerance_sides",
        "tolerance_percent",
        "found_verdict",
        "left_verdict",
        "done_on",
    )
    return {
        r.pk: Result(
            r.found_errors,
            r.left_errors,
            r.error_limits,
            r.found_verdict or r.left_verdict,
            r.done_on,
        )
        for r in records
    }
