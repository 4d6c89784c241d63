"""Deferrals: asked with a reason by who plans or does the work, decided by an approver."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.deferrals.models import Deferral
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.refusals import Refused


@transaction.atomic
def ask(
    point: MeasuringPoint, *, until: dt.date, reason: str, by: Person, at: dt.datetime
) -> Deferral:
    """Ask that the calibration of ``point`` be put off until ``until``; the due date stands until
    it is granted.
    """
    require(by, "defer", point.site_id)
    point = MeasuringPoint.objects.select_for_update().select_related("site").get(pk=point.pk)
    if not reason.strip():
        raise Refused("Say why it is put off; the approver decides on it.", field="reason")
    if point.out_of_service_on:
        raise Refused(f"{point.tag} is out of service, so it is not due.")
    today = point.site.day_of(at)
    if until <= max(point.next_due, today):
        raise Refused(
            f"Choose a day after {max(point.next_due, today)}: that is when it is due now, or "
            "today.",
            field="until",
        )
    if point.deferrals.filter(granted=None).exists():
        raise Refused(f"A deferral of {point.tag} already waits for a decision.")
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
    enter("ask deferral", on=deferral, by=by, why=deferral.reason, details=_facts(deferral))
    return deferral


@transaction.atomic
def decide(
    deferral: Deferral, *, granted: bool, note: str = "", by: Person, at: dt.datetime
) -> Deferral:
    """Grant or refuse. A grant moves the point's next due date in the same transaction."""
    require(by, "approve", deferral.site_id)
    # The point first, as everywhere: two who lock in one order wait for each other instead of
    # dying.
    points = MeasuringPoint.objects.select_for_update().select_related("site")
    point = points.get(pk=deferral.point_id)
    deferral = Deferral.objects.select_for_update().get(pk=deferral.pk)
    if deferral.granted is not None:
        said = "granted" if deferral.granted else "refused"
        raise Refused(f"{deferral.decided_by} has {said} this deferral already.")
    if deferral.asked_by_id == by.pk:
        raise Refused("Another person than the one who asked must decide.")
    if granted:
        _still_stands(deferral, point, on=point.site.day_of(at))
        point.deferred_until = deferral.until
        point.save(update_fields=["deferred_until"])
    elif not note.strip():
        raise Refused("Say why it is refused; the person who asked reads it.", field="note")
    deferral.granted, deferral.decision_note = granted, note.strip()
    deferral.decided_by, deferral.decided_at = by, at
    deferral.save()
    act = "grant deferral" if granted else "refuse deferral"
    enter(act, on=deferral, by=by, why=deferral.decision_note, details=_facts(deferral))
    return deferral


def _still_stands(deferral: Deferral, point: MeasuringPoint, *, on: dt.date) -> None:
    if point.due_on != deferral.due_on:
        raise Refused(
            f"The due date of {point.tag} has moved to {point.due_on} since this was asked. "
            f"Refuse it; a new one can be asked."
        )
    if deferral.until <= on:
        raise Refused(f"{deferral.until} has come already. Refuse it; a later day can be asked.")


def _facts(deferral: Deferral) -> dict[str, str]:
    return {
        "tag": deferral.point.tag,
        "due": str(deferral.due_on),
        "until": str(deferral.until),
        "asked by": str(deferral.asked_by),
    }
