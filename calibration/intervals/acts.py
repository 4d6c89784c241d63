"""Changing how often a point is calibrated, with the reason; the due date follows in the same
transaction.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from calibration.intervals.models import Proposal
from calibration.intervals.schedule import reschedule
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed, Refused
from plant.saving import check

GRACE_DAYS_A_MONTH = 15


@transaction.atomic
def change(
    point: MeasuringPoint, *, months: int, grace_days: int, why: str, by: Person
) -> MeasuringPoint:
    """Set interval and grace by hand. A longer interval for safety duty needs an approver.

    A proposal that waits for the point is replaced: its figures were made for the interval that
    was.
    """
    require(by, "set interval", point.site_id)
    point = locked(point.pk)
    if not why.strip():
        raise Refused("Say why: an auditor will ask.", field="why")
    if needs_approval(point, months) and "approver" not in by.roles_at(point.site_id):
        raise NotAllowed(
            f"{point.tag} has safety duty: only an approver may lengthen its interval.",
            field="months",
        )
    was_months = point.interval_months
    details = move(point, months=months, grace_days=grace_days)
    if months != was_months:
        waiting = Proposal.objects.filter(point=point, state__in=Proposal.WAITING)
        if waiting.update(state=Proposal.State.REPLACED):
            details["proposal"] = "replaced"
    enter("change interval", on=point, by=by, why=why, details=details)
    return point


def locked(pk: int) -> MeasuringPoint:
    """The point as stored, locked. Weakly: the nightly pass may name the point in a proposal
    meanwhile, and does not wait for whoever waits for that proposal."""
    return MeasuringPoint.objects.select_for_update(no_key=True).get(pk=pk)


def needs_approval(point: MeasuringPoint, months: int) -> bool:
    return point.duty == MeasuringPoint.Duty.SAFETY and months > point.interval_months


def move(point: MeasuringPoint, *, months: int, grace_days: int) -> dict[str, Any]:
    """The one place that writes an interval: on a locked point, the due date with it. Returns the
    ledger's details.
    """
    was = _facts(point)
    point.interval_months, point.grace_days = months, grace_days
    check(point)
    point.save(update_fields=["interval_months", "grace_days"])
    reschedule([point.pk])
    point.refresh_from_db()
    return {"was": was, "is": _facts(point)}


def _facts(point: MeasuringPoint) -> dict[str, int | dt.date]:
    return {"months": point.interval_months, "grace": point.grace_days, "due": point.due_on}


def grace_within(months: int, grace_days: int) -> int:
    """The grace that fits an interval: at most half of it, which is 15 days for each month."""
    return min(grace_days, GRACE_DAYS_A_MONTH * months)
