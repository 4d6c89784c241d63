"""What the due list shows: counts, weeks of work and rows, each read at a cost that does not grow with the register."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, NamedTuple

import django_tables2 as tables
from django.db.models import FilteredRelation, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import TruncWeek

from calibration.charts import WorkWeek
from calibration.models import Calibration, Job
from calibration.tables.keyset import BY_DAY, BY_TEXT, Order
from plant.models import DueCount, MeasuringPoint, Site
from plant.models.point import LATER_DAYS, SOON_DAYS, DueState, due_state, interval_run

WEEKS = 52
ORDERS = {
    "due": Order("next_due", BY_DAY),
    "-due": Order("next_due", BY_DAY, descending=True),
    "tag": Order("tag_key", BY_TEXT),
    "-tag": Order("tag_key", BY_TEXT, descending=True),
}


class DueTable(tables.Table):
    """The columns, in order. The rows are drawn by the page's own template: fifty cells a time cost too much."""

    tag = tables.Column("Tag", order_by="tag")
    tank = tables.Column("Tank", orderable=False)
    due = tables.Column("State", order_by="due")
    job = tables.Column("Job", orderable=False)
    run = tables.Column("Interval run", orderable=False)
    result = tables.Column("Last result, % of span", orderable=False)
    drift = tables.Column("Drift, % a year", orderable=False)
    hours = tables.Column("Work, h", orderable=False, attrs={"th": {"class": "num"}})


class Column(NamedTuple):
    text: str
    order: str
    is_number: bool


@cache
def columns() -> list[Column]:
    """DueTable's columns, taken out of it once: they are the same for every request."""
    return [
        Column(
            text=str(column.header),
            order=column.order_by[0].bare if column.orderable else "",
            is_number="num" in (column.attrs["th"].get("class") or "").split(),
        )
        for column in DueTable([]).columns
    ]


@dataclass(frozen=True)
class Counts:
    overdue: int
    soon: int
    later: int
    in_date: int
    deferred: int
    off: int

    @property
    def due(self) -> int:
        return self.overdue + self.soon


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
    else:
        points = points.in_state(chosen.get("state") or "due", on=day)
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


# ---- counts and work ahead ----
def counts_of(days: Mapping[int, dt.date]) -> Counts:
    """Points of these sites (id to its own day) by state, out of the stored counts."""

    def many(build) -> Sum:
        by_day: dict[dt.date, list[int]] = {}
        for site_id, day in days.items():
            by_day.setdefault(day, []).append(site_id)
        found = Q()
        for day, ids in by_day.items():
            found |= Q(site_id__in=ids) & build(day)
        return Sum("points", filter=found, default=0)

    soon, later = dt.timedelta(SOON_DAYS), dt.timedelta(LATER_DAYS)
    standing = Q(is_deferred=False)
    sums = DueCount.objects.filter(site_id__in=days).aggregate(
        overdue=many(lambda day: Q(next_due__lt=day)),
        soon=many(lambda day: standing & Q(next_due__range=(day, day + soon))),
        later=many(lambda day: standing & Q(next_due__gt=day + soon, next_due__lte=day + later)),
        in_date=many(lambda day: standing & Q(next_due__gt=day + later)),
        deferred=many(lambda day: Q(is_deferred=True, next_due__gte=day)),
    )
    off = MeasuringPoint.objects.filter(site_id__in=days, out_of_service_on__isnull=False).count()
    return Counts(**sums, off=off)


def weeks_ahead(site_ids: Iterable[int], *, on: dt.date, url: str = "") -> list[WorkWeek]:
    """Hours and points by week for a year from this week's Monday; what is overdue is work of this week."""
    monday = on - dt.timedelta(on.weekday())
    sums = (
        DueCount.objects.filter(site_id__in=site_ids, next_due__lt=monday + dt.timedelta(7 * WEEKS))
        .annotate(week=TruncWeek("next_due"))
        .values("week")
        .annotate(all_hours=Sum("hours"), all_points=Sum("points"))
        .values_list("week", "all_hours", "all_points")
    )
    weeks = [
        WorkWeek(day, 0.0, 0, f"{url}{day}" if url else "")
        for day in (monday + dt.timedelta(7 * n) for n in range(WEEKS))
    ]
    for week, hours, points in sums:
        n = max((week - monday).days // 7, 0)
        weeks[n] = weeks[n]._replace(
            hours=weeks[n].hours + float(hours), points=weeks[n].points + points
        )
    return [week if week.points else week._replace(url="") for week in weeks]


# ---- rows ----
@dataclass(frozen=True, slots=True)
class Result:
    """The last standing record of a point."""

    found: Sequence[float]
    left: Sequence[float]
    tolerance: float
    verdict: str
    done_on: dt.date


@dataclass(frozen=True, slots=True)
class DueRow:
    pk: int
    site_id: int
    tag: str
    tank_id: int
    tank: str
    product: str
    area: str
    state: DueState
    run: float | None
    hours: Any
    drift: float | None
    crossing_on: dt.date | None
    job: str
    technician: str
    job_day: dt.date | None
    round_id: int | None
    may_join: bool
    result: Result | None = None


IN_THE_WAY = (*Job.OPEN, Job.State.SUBMITTED)
COLUMNS = (
    "pk", "site_id", "tag", "tank_id", "due_on", "next_due", "deferred_until", "out_of_service_on",
    "interval_months", "job_hours", "tank__name", "tank__product__name", "tank__area__name",
    "trend__zero_rate", "trend__span_rate", "trend__crossing_on",
    "open_job__state", "open_job__planned_on", "open_job__round_id", "open_job__technician__name",
    "last_record",
)  # fmt: skip


def rows_of(ids: Sequence[int], days: Mapping[int, dt.date]) -> list[DueRow]:
    """The rows of one page, in the order of ``ids``; two queries."""
    last = Calibration.objects.standing().filter(point=OuterRef("pk")).order_by("-done_on", "-id")
    points = MeasuringPoint.objects.filter(pk__in=ids).annotate(
        open_job=FilteredRelation("jobs", condition=Q(jobs__state__in=IN_THE_WAY)),
        last_record=Subquery(last.values("pk")[:1]),
    )
    found = {point["pk"]: point for point in points.values(*COLUMNS)}
    results = results_of(point["last_record"] for point in found.values() if point["last_record"])
    rows = [_row(found[pk], days[found[pk]["site_id"]]) for pk in ids if pk in found]
    return [replace(row, result=results.get(found[row.pk]["last_record"])) for row in rows]


def results_of(record_ids: Iterable[int]) -> dict[int, Result]:
    """What a span strip needs, by record."""
    ids = list(record_ids)
    if not ids:
        return {}
    records = Calibration.objects.filter(pk__in=ids).values_list(
        "pk",
        "found_errors",
        "left_errors",
        "tolerance_percent",
        "found_verdict",
        "left_verdict",
        "done_on",
    )
    return {
        pk: Result(found, left, tolerance, found_verdict or left_verdict, done_on)
        for pk, found, left, tolerance, found_verdict, left_verdict, done_on in records
    }


def _row(point: Mapping[str, Any], day: dt.date) -> DueRow:
    off = point["out_of_service_on"] is not None
    state = due_state(
        next_due=point["next_due"],
        is_deferred=point["deferred_until"] is not None,
        out_of_service=off,
        on=day,
    )
    job, round_id = point["open_job__state"], point["open_job__round_id"]
    return DueRow(
        pk=point["pk"],
        site_id=point["site_id"],
        tag=point["tag"],
        tank_id=point["tank_id"],
        tank=point["tank__name"],
        product=point["tank__product__name"] or "",
        area=point["tank__area__name"],
        state=state,
        run=None if off else interval_run(point["due_on"], point["interval_months"], on=day),
        hours=point["job_hours"],
        drift=_worse(point["trend__zero_rate"], point["trend__span_rate"]),
        crossing_on=point["trend__crossing_on"],
        job=job or "",
        technician=point["open_job__technician__name"] or "",
        job_day=point["open_job__planned_on"] if job == Job.State.PLANNED else None,
        round_id=round_id,
        may_join=not off and (job is None or (job == Job.State.PLANNED and round_id is None)),
    )


def _worse(zero: float | None, span: float | None) -> float | None:
    """The faster of the two drifts: it reaches the tolerance first."""
    return max((rate for rate in (zero, span) if rate is not None), key=abs, default=None)
