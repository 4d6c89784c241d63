"""Changing how often a point is calibrated, with the reason; the due date follows in the same transaction."""

from __future__ import annotations

from django.db import transaction

from calibration.operations.schedule import reschedule
from plant.ledger import enter
from plant.models import MeasuringPoint, Person
from plant.operations.saving import check
from plant.permissions import require
from plant.refusals import NotAllowed, Refused


@transaction.atomic
def change(
    point: MeasuringPoint, *, months: int, grace_days: int, why: str, by: Person
) -> MeasuringPoint:
    """Set interval and grace. A longer interval for safety duty needs an approver."""
    require(by, "set interval", point.site_id)
    point = MeasuringPoint.objects.select_for_update().get(pk=point.pk)
    if not why.strip():
        raise Refused("Say why: an auditor will ask.", field="why")
    longer = months > point.interval_months
    if (
        longer
        and point.duty == MeasuringPoint.Duty.SAFETY
        and "approver" not in by.roles_at(point.site_id)
    ):
        raise NotAllowed(
            f"{point.tag} has safety duty: only an approver may lengthen its interval.",
            field="months",
        )
    before = {"months": point.interval_months, "grace": point.grace_days, "due": point.due_on}
    point.interval_months, point.grace_days = months, grace_days
    check(point)
    point.save(update_fields=["interval_months", "grace_days"])
    reschedule([point.pk])
    point.refresh_from_db()
    after = {"months": point.interval_months, "grace": point.grace_days, "due": point.due_on}
    enter("change interval", on=point, by=by, why=why, details={"was": before, "is": after})
    return point
