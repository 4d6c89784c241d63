"""How often a point is calibrated: set by hand, or by accepting a proposal; the due date follows in
the same transaction.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from calibration.intervals.due_dates import reschedule
from calibration.intervals.models import Proposal
from calibration.intervals.refusals import (
    AlreadyDecided,
    AnotherApproverMustAgree,
    ApproverMustAgree,
    IntervalChanged,
    LongerNeedsApprover,
    NotLengthened,
    OutsidePolicy,
    PointOutOfService,
)
from calibration.policies.models import Policy
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.points.status import BY_CALENDAR
from plant.refusals import ReasonMissing
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
        raise ReasonMissing()
    if needs_approval(point, months) and "approver" not in by.roles_at(point.site_id):
        raise LongerNeedsApprover(tag=point.tag)
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
    was = _schedule(point)
    point.interval_months, point.grace_days = months, grace_days
    check(point)
    point.save(update_fields=["interval_months", "grace_days"])
    reschedule([point.pk])
    point.refresh_from_db()
    return {"was": was, "is": _schedule(point)}


def _schedule(point: MeasuringPoint) -> dict[str, int | dt.date]:
    return {"months": point.interval_months, "grace": point.grace_days, "due": point.due_on}


def grace_within(months: int, grace_days: int) -> int:
    """The grace that fits an interval: at most half of it, which is 15 days for each month."""
    return min(grace_days, GRACE_DAYS_A_MONTH * months)


State = Proposal.State


@transaction.atomic
def accept(proposal: Proposal, *, by: Person, at: dt.datetime) -> Proposal:
    """Set the proposed interval, and the due date with it. A longer one for safety duty takes two:
    who agrees, and then another person who approves. Refused when it no longer waits or its figures
    are not of today's interval."""
    point, proposal = _locked(proposal, by=by)
    becomes = outcome(
        proposal, point, Policy.objects.of_point(point), by=by, on=point.site.day_of(at)
    )
    details: dict[str, Any] = {
        "method": proposal.get_method_display(),
        "in tolerance": proposal.in_tolerance,
    }
    if becomes == State.AGREED:
        return _agree(proposal, details, by=by, at=at)
    if proposal.agreed_by:
        details["agreed by"] = str(proposal.agreed_by)
    grace = grace_within(proposal.months, point.grace_days)
    if grace != point.grace_days:
        details["grace shortened to half the interval, days"] = [point.grace_days, grace]
    details |= move(point, months=proposal.months, grace_days=grace)
    _decide(proposal, State.ACCEPTED, by=by, at=at)
    enter("accept interval", on=point, by=by, details=details)
    return proposal


def outcome(
    proposal: Proposal, point: MeasuringPoint, policy: Policy, *, by: Person, on: dt.date
) -> Proposal.State:
    """What a waiting proposal becomes when ``by`` accepts it on the day ``on`` of its site:
    accepted or agreed. Raises Refused where it cannot be.
    """
    _still_stands(proposal, point, policy, on=on)
    if not needs_approval(point, proposal.months):
        return State.ACCEPTED
    if proposal.state == State.OPEN:
        return State.AGREED
    if "approver" not in by.roles_at(proposal.site_id):
        raise ApproverMustAgree(tag=point.tag, agreed_by=proposal.agreed_by)
    if proposal.agreed_by_id == by.pk:
        raise AnotherApproverMustAgree(tag=point.tag)
    return State.ACCEPTED


@transaction.atomic
def decline(proposal: Proposal, *, why: str, by: Person, at: dt.datetime) -> Proposal:
    """Leave the interval as it is, with the reason; it is not proposed again before there is a
    later record.
    """
    point, proposal = _locked(proposal, by=by)
    if not why.strip():
        raise ReasonMissing()
    proposal.why = why.strip()
    _decide(proposal, State.DECLINED, by=by, at=at)
    details = {
        "months": [proposal.months_now, proposal.months],
        "method": proposal.get_method_display(),
        "in tolerance": proposal.in_tolerance,
    }
    enter("decline interval", on=point, by=by, why=proposal.why, details=details)
    return proposal


def _locked(proposal: Proposal, *, by: Person) -> tuple[MeasuringPoint, Proposal]:
    """Point and proposal as stored, locked in this order as everywhere; refused where the proposal
    waits no more.
    """
    require(by, "set interval", proposal.site_id)
    point = locked(proposal.point_id)
    known = Proposal.objects.select_related("agreed_by", "decided_by")
    proposal = known.select_for_update(of=("self",)).get(pk=proposal.pk)
    if proposal.state not in Proposal.WAITING:
        raise AlreadyDecided(
            tag=point.tag,
            who=proposal.decided_by or "Spanbook, by later figures,",
            state=proposal.state,
            months=point.interval_months,
        )
    return point, proposal


def _still_stands(
    proposal: Proposal, point: MeasuringPoint, policy: Policy, *, on: dt.date
) -> None:
    if proposal.months_now != point.interval_months:
        raise IntervalChanged(
            tag=point.tag, months=point.interval_months, computed_for=proposal.months_now
        )
    if point.out_of_service_on:
        raise PointOutOfService(tag=point.tag)
    if proposal.is_longer and (point.condition < BY_CALENDAR or point.next_due < on):
        raise NotLengthened(tag=point.tag, status=point.status(on).text)
    if not policy.shortest_months <= proposal.months <= policy.longest_months:
        raise OutsidePolicy(
            tag=point.tag,
            shortest=policy.shortest_months,
            longest=policy.longest_months,
            months=proposal.months,
        )


def _agree(proposal: Proposal, details: dict[str, Any], *, by: Person, at: dt.datetime) -> Proposal:
    proposal.state, proposal.agreed_by, proposal.agreed_at = State.AGREED, by, at
    proposal.save(update_fields=["state", "agreed_by", "agreed_at"])
    details["months"] = [proposal.months_now, proposal.months]
    enter("agree to interval", on=proposal.point, by=by, details=details)
    return proposal


def _decide(proposal: Proposal, state: State, *, by: Person, at: dt.datetime) -> None:
    proposal.state, proposal.decided_by, proposal.decided_at = state, by, at
    proposal.save(update_fields=["state", "decided_by", "decided_at", "why"])
