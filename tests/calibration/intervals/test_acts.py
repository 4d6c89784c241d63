"""Intervals set by hand: due date and waiting proposal follow in the same transaction."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.intervals import acts as intervals
from calibration.intervals.refusals import LongerNeedsApprover
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, ReasonMissing, Refused
from tests import makers
from tests.makers import TODAY, a_proposal


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
    point = makers.a_point()
    waiting = a_proposal(point)
    by_hand(point, by=planner)
    waiting.refresh_from_db()
    assert waiting.state == "replaced"
    assert LedgerEntry.objects.get(act="change interval").details["proposal"] == "replaced"


def test_a_change_of_the_grace_alone_leaves_the_proposal(planner):
    point = makers.a_point()
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
    point = makers.a_point()
    with pytest.raises(ReasonMissing):
        by_hand(point, why=" ", by=planner)
    with pytest.raises(Refused, match="grace must be at most half"):
        by_hand(point, months=1, grace_days=16, by=planner)
    assert not LedgerEntry.objects.filter(act="change interval").exists()


def test_those_who_do_not_plan_are_refused(technician, auditor, outsider):
    point = makers.a_point()
    for person in (technician, auditor, outsider):
        with pytest.raises(NotAllowed):
            by_hand(point, by=person)
