"""What is known of a point, derived a second time from its rows in plain Python: the status that
the database derives must be the same.
"""

from __future__ import annotations

import datetime as dt

from calibration.drift.models import Trend
from calibration.jobs.models import Job
from calibration.policies.models import Policy
from calibration.procedures.models import Procedure
from calibration.records.models import Calibration
from calibration.status.models import ReasonClosing
from plant.points.models import MeasuringPoint
from plant.product_changes.models import ProductChange
from plant.transmitters.models import Installation

Found = set[tuple[str, int | None]]


def known_of(point: MeasuringPoint, *, today: dt.date) -> Found:
    """(kind, of) of every reason that should stand."""
    present = Installation.objects.filter(point=point, removed_on=None).first()
    found = _demands(point, present) | _product(point)
    if present is None:
        found.add(("no transmitter", None))
        return found
    records = _current(point, present)
    if not _complete(point, records):
        found.add((_why_not_calibrated(point, present, records), None))
    found |= _failed(records) | _standards(point, records) | _chance(point, present, records, today)
    procedure = Procedure.objects.filter(key=point.procedure_key).first()
    if procedure and present.transmitter.principle not in procedure.principles:
        found.add(("procedure", None))
    closed = set(ReasonClosing.objects.filter(point=point).values_list("kind", "of"))
    return found - closed


def _current(point: MeasuringPoint, present: Installation) -> list[Calibration]:
    """Oldest first."""
    rows = Calibration.objects.standing().filter(point=point, transmitter=present.transmitter)
    return [
        row
        for row in rows.order_by("done_on", "id")
        if row.done_on >= max(present.installed_on, point.ranged_on or present.installed_on)
        and (row.lower, row.upper, row.unit, row.signal)
        == (point.lower, point.upper, point.unit, point.signal)
    ]


def _good(records: list[Calibration]) -> list[Calibration]:
    return [row for row in records if not row.is_check and row.left_verdict != "fail"]


def _complete(point: MeasuringPoint, records: list[Calibration]) -> list[dt.date]:
    """Of each complete result the day of its older part."""
    within = dt.timedelta(Policy.objects.of_point(point).parts_within_days)
    good, days = _good(records), []
    for place, row in enumerate(good):
        near = [r for r in good[: place + 1] if r.done_on >= row.done_on - within]
        output = [r.done_on for r in near if r.covers_output]
        primary = [r.done_on for r in near if r.covers_primary]
        if output and primary:
            days.append(min(max(output), max(primary)))
    return days


def _why_not_calibrated(
    point: MeasuringPoint, present: Installation, records: list[Calibration]
) -> str:
    if _good(records):
        return "part"
    if point.ranged_on and point.ranged_on > present.installed_on:
        return "range"
    others = Installation.objects.filter(point=point).exclude(removed_on=None).exists()
    if others or Calibration.objects.approved().filter(point=point).exists():
        return "installed"
    return "never calibrated"


def _demands(point: MeasuringPoint, present: Installation | None) -> Found:
    found: Found = set()
    records = _current(point, present) if present else []
    complete = _complete(point, records)
    for job in Job.objects.filter(point=point):
        if not job.is_demand:
            continue
        done = [row for row in records if row.job_id == job.pk]
        unsettled = [row for row in done if not any(day >= row.done_on for day in complete)]
        waits = job.state in (*Job.OPEN, Job.State.SUBMITTED)
        if waits or (job.state == Job.State.APPROVED and unsettled):
            found.add(("demand", job.pk))
    return found


def _product(point: MeasuringPoint) -> Found:
    changes = ProductChange.objects.filter(tank=point.tank_id, demanded_at=None)
    return {("product", change.pk) for change in changes}


def _failed(records: list[Calibration]) -> Found:
    def puts_right(later: Calibration, failed: Calibration) -> bool:
        return (
            later.left_verdict != "fail"
            and (failed.is_check or not later.is_check)
            and later.covers_output >= failed.covers_output
            and later.covers_primary >= failed.covers_primary
        )

    return {
        ("failed", row.pk)
        for place, row in enumerate(records)
        if row.left_verdict == "fail"
        and not any(puts_right(later, row) for later in records[place + 1 :])
    }


def _standards(point: MeasuringPoint, records: list[Calibration]) -> Found:
    complete = _complete(point, records)
    if not complete:
        return set()
    return {
        ("standard", row.pk)
        for row in records
        if not row.is_check and row.done_on >= max(complete)
        for use in row.standards_used.select_related("standard", "certificate")
        for withdrawn in (use.standard.withdrawn_on, use.certificate.withdrawn_on)
        if withdrawn and withdrawn <= row.done_on
    }


def _chance(
    point: MeasuringPoint, present: Installation, records: list[Calibration], today: dt.date
) -> Found:
    trend = Trend.objects.filter(point=point, transmitter=present.transmitter).first()
    if trend is None or trend.doubt_on is None or trend.doubt_on > today:
        return set()
    return {("chance", max((row.pk for row in records), default=None))}
