"""Deferrals: asked with a reason by who plans or does the work, decided by an approver."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.deferrals.models import Deferral
from calibration.deferrals.refusals import (
    AlreadyAsked,
    AlreadyDecided,
    DayPassed,
    DayTooEarly,
    DueDateMoved,
    NoNote,
    NoReason,
    OwnRequest,
    PointOutOfService,
)
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint


@transaction.atomic
def ask(
    point: MeasuringPoint, *, until: dt.date, reason: str, by: Person, at: dt.datetime
) -> Deferral:
    """Ask that the calibration of ``point`` be put off until ``until``; the due date stands until
    it is granted.
    """
    require(by, "defer", point.site_id)
    point = _locked(point.pk)
    if not reason.strip():
        raise NoReason()
    if point.out_of_service_on:
        raise PointOutOfService(tag=point.tag)
    earliest = max(point.next_due, point.site.day_of(at))
    if until <= earliest:
        raise DayTooEarly(after=earliest)
    if point.deferrals.filter(granted=None).exists():
        raise AlreadyAsked(tag=point.tag)
    deferral = Deferral(
        site_id=point.site_id,
        point=point,
        due_on=point.due_on,
        until=until,
        reason=reason.strip(),
        asked_by=by,
        asked_at=at,
    )
    deferral.save()
    enter("ask deferral", on=deferral, by=by, why=deferral.reason, details=_details(deferral))
    return deferral


@transaction.atomic
def decide(
    deferral: Deferral, *, granted: bool, note: str = "", by: Person, at: dt.datetime
) -> Deferral:
    """Grant or refuse. A grant moves the point's next due date in the same transaction."""
    require(by, "approve", deferral.site_id)
    # The point first, as everywhere: two who lock in one order wait for each other instead of
    # dying.
    point = _locked(deferral.point_id)
    deferral = Deferral.objects.select_for_update().get(pk=deferral.pk)
    if deferral.granted is not None:
        decision = "granted" if deferral.granted else "refused"
        raise AlreadyDecided(decided_by=deferral.decided_by, decision=decision)
    if deferral.asked_by_id == by.pk:
        raise OwnRequest()
    if granted:
        _still_stands(deferral, point, on=point.site.day_of(at))
        point.deferred_until = deferral.until
        point.save(update_fields=["deferred_until"])
    elif not note.strip():
        raise NoNote()
    deferral.granted, deferral.decision_note = granted, note.strip()
    deferral.decided_by, deferral.decided_at = by, at
    deferral.save()
    act = "grant deferral" if granted else "refuse deferral"
    enter(act, on=deferral, by=by, why=deferral.decision_note, details=_details(deferral))
    return deferral


def _locked(pk: int) -> MeasuringPoint:
    points = MeasuringPoint.objects.select_for_update(of=("self",)).select_related("site")
    return points.get(pk=pk)


def _still_stands(deferral: Deferral, point: MeasuringPoint, *, on: dt.date) -> None:
    if point.due_on != deferral.due_on:
        raise DueDateMoved(tag=point.tag, due_on=point.due_on)
    if deferral.until <= on:
        raise DayPassed(until=deferral.until)


def _details(deferral: Deferral) -> dict[str, str]:
    return {
        "tag": deferral.point.tag,
        "due": str(deferral.due_on),
        "until": str(deferral.until),
        "asked by": str(deferral.asked_by),
    }
