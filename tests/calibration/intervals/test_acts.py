"""Intervals set by hand: due date and waiting proposal follow in the same transaction."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.intervals import acts as intervals
from calibration.intervals.refusals import LongerNeedsApprover, OutsidePolicy
from calibration.policies.models import Policy
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, ReasonMissing, Refused
from tests import makers
from tests.makers import NOON, TODAY, a_proposal


def by_hand(point, months=6, grace_days=0, why="A new product is harder on it.", *, by):
    return intervals.change(point, months=months, grace_days=grace_days, why=why, by=by)


def test_the_due_date_follows_the_interval(technician, approver, planner):
    record = makers.an_approved_record(by=technician, approved_by=approver)
    point = by_hand(record.point, by=planner)
    assert (point.interval_months, point.due_on) == (6, dt.date(2027, 5, 2))
    entry = LedgerEntry.objects.get(act="change interval")
    assert (entry.person, entry.why) == (planner, "A new product is harder on it.")
    assert entry.details["was"]["months"] == 12
    assert entry.details["is"] == {"months": 6, "grace": 0, "due": "2027-05-02"}


def test_a_waiting_proposal_is_replaced(planner):
    point = makers.a_calibrated_point()
    waiting = a_proposal(point)
    by_hand(point, by=planner)
    waiting.refresh_from_db()
    assert waiting.state == "replaced"
    assert LedgerEntry.objects.get(act="change interval").details["proposal"] == "replaced"


def test_a_change_of_the_grace_alone_leaves_the_proposal(planner):
    point = makers.a_calibrated_point()
    waiting = a_proposal(point)
    by_hand(point, months=12, grace_days=20, by=planner)
    waiting.refresh_from_db()
    assert waiting.state == "open"


def test_a_planner_shortens_but_never_lengthens_for_safety(planner, approver):
    point = makers.a_point(duty="safety")
    with pytest.raises(LongerNeedsApprover):
        by_hand(point, months=24, by=planner)
    assert by_hand(point, months=6, by=planner).due_on == TODAY
    assert by_hand(point, months=24, by=approver).interval_months == 24


def test_a_reason_and_a_fitting_grace_are_asked(planner):
    point = makers.a_calibrated_point()
    with pytest.raises(ReasonMissing):
        by_hand(point, why=" ", by=planner)
    with pytest.raises(Refused, match="grace must be at most half"):
        by_hand(point, months=1, grace_days=16, by=planner)
    assert not LedgerEntry.objects.filter(act="change interval").exists()


def test_those_who_do_not_plan_are_refused(technician, auditor, outsider):
    point = makers.a_calibrated_point()
    for person in (technician, auditor, outsider):
        with pytest.raises(NotAllowed):
            by_hand(point, by=person)


# ---- the edges of what may be set ----
def test_the_same_interval_for_safety_duty_is_no_longer_one(planner):
    point = makers.a_calibrated_point(duty="safety")
    assert by_hand(point, months=12, grace_days=10, by=planner).grace_days == 10


@pytest.mark.parametrize(("months", "grace", "kept"), [(4, 60, 60), (4, 61, 60), (4, 59, 59)])
def test_the_grace_is_fifteen_days_a_month_at_most(months, grace, kept):
    assert intervals.grace_within(months, grace) == kept


@pytest.mark.parametrize(("months", "fits"), [(5, False), (6, True), (24, True), (25, False)])
def test_the_policy_s_shortest_and_longest_interval_may_be_accepted(planner, months, fits):
    point = makers.a_calibrated_point()
    Policy.objects.create(site=point.site, duty=point.duty, shortest_months=6, longest_months=24)
    proposal = a_proposal(point, months)
    if fits:
        assert intervals.accept(proposal, by=planner, at=NOON).state == "accepted"
        return
    with pytest.raises(OutsidePolicy):
        intervals.accept(proposal, by=planner, at=NOON)


def test_what_is_accepted_or_declined_keeps_when_it_was(planner):
    accepted = intervals.accept(a_proposal(makers.a_calibrated_point("LT-1")), by=planner, at=NOON)
    declined = intervals.decline(
        a_proposal(makers.a_calibrated_point("LT-2"), in_tolerance=0.91),
        why="no",
        by=planner,
        at=NOON,
    )
    for proposal in (accepted, declined):
        proposal.refresh_from_db()
        assert (proposal.decided_by, proposal.decided_at) == (planner, NOON)
    details = LedgerEntry.objects.get(act="decline interval").details
    assert details == {
        "months": [12, 18],
        "method": "drift and its uncertainty",
        "in tolerance": 0.91,
    }


def test_who_agreed_and_when_is_kept_beside_who_accepts(planner, approver):
    proposal = a_proposal(makers.a_calibrated_point(duty="safety"))
    intervals.accept(proposal, by=planner, at=NOON)
    proposal.refresh_from_db()
    assert (proposal.state, proposal.agreed_by, proposal.agreed_at) == ("agreed", planner, NOON)
    assert proposal.decided_at is None
