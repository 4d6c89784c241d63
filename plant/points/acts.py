"""Measuring points: registered, changed, taken out of service and back. Intervals belong to
calibration.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from plant.ledger.writer import enter
from plant.naming import natural_key
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.columns import POINT
from plant.points.geometry import refuse_range_outside
from plant.points.models import MeasuringPoint
from plant.points.refusals import InService, OutOfService, TankOfAnotherSite
from plant.refusals import DayToCome, ReasonMissing
from plant.saving import check, constraint_messages, locked, put

JUDGED_BY = tuple(one.field for one in POINT if one.judges)
"""What results are judged by: a change of these needs a reason."""
POINT_FIELDS = tuple(name for name in POINT.fields if name not in ("interval_months", "grace_days"))
"""What a change of the point stores; its interval has an act of its own."""


@transaction.atomic
def add(point: MeasuringPoint, *, by: Person) -> MeasuringPoint:
    """Register a measuring point; its first due date comes with it."""
    require(by, "edit register", point.tank.site_id)
    point.site = point.tank.site
    point.tag_key = natural_key(point.tag)
    refuse_range_outside(point)
    check(point)
    with constraint_messages():
        point.save()
    details = {
        "tank": point.tank.name,
        "range": f"{point.lower} to {point.upper} {point.get_unit_display()}",
        "due": point.due_on.isoformat(),
    }
    enter("register point", on=point, by=by, details=details)
    return point


@transaction.atomic
def change(point: MeasuringPoint, *, seen: str, why: str = "", by: Person) -> MeasuringPoint:
    """Store a point's changed data; a change of what results are judged by needs its reason.

    Records keep the range and tolerance they were made under. Schedule and service have operations
    of their own.
    """
    stored = locked(point, seen=seen, fields=POINT_FIELDS)
    require(by, "edit register", stored.site_id)
    if any(getattr(stored, name) != getattr(point, name) for name in JUDGED_BY) and not why.strip():
        raise ReasonMissing("range, signal, tolerance or duty change, and an auditor will ask")
    changed = put(point, stored, POINT_FIELDS)
    if stored.tank.site_id != stored.site_id:
        raise TankOfAnotherSite(tank=stored.tank)
    stored.tag_key = natural_key(stored.tag)
    refuse_range_outside(stored)
    check(stored)
    with constraint_messages():
        stored.save(update_fields=[*POINT_FIELDS, "tag_key"])
    enter("change point", on=stored, by=by, why=why, details=changed)
    return stored


@transaction.atomic
def take_out_of_service(
    point: MeasuringPoint, *, on: dt.date, today: dt.date, why: str, by: Person
) -> MeasuringPoint:
    """From the day ``on`` the point is not due and no longer counted; ``today`` is the site's
    day.
    """
    require(by, "edit register", point.site_id)
    point = MeasuringPoint.objects.select_for_update().get(pk=point.pk)
    if point.out_of_service_on:
        raise OutOfService(point.tag, point.out_of_service_on)
    if not why.strip():
        raise ReasonMissing
    if on > today:
        raise DayToCome
    point.out_of_service_on, point.out_of_service_why = on, why.strip()
    check(point)
    point.save(update_fields=["out_of_service_on", "out_of_service_why"])
    enter("take out of service", on=point, by=by, why=why, details={"since": on.isoformat()})
    return point


@transaction.atomic
def put_back_in_service(point: MeasuringPoint, *, why: str = "", by: Person) -> MeasuringPoint:
    """The point is due again on the date it had; whoever puts it back sees that date."""
    require(by, "edit register", point.site_id)
    point = MeasuringPoint.objects.select_for_update().get(pk=point.pk)
    if not point.out_of_service_on:
        raise InService(tag=point.tag)
    details = {
        "was out since": point.out_of_service_on.isoformat(),
        "due": point.due_on.isoformat(),
    }
    point.out_of_service_on, point.out_of_service_why = None, ""
    point.save(update_fields=["out_of_service_on", "out_of_service_why"])
    enter("put back in service", on=point, by=by, why=why, details=details)
    return point
