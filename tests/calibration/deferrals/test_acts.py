"""Deferrals: asked with a reason, decided by another person, granted in one transaction with the
due date.
"""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from calibration.deferrals import acts as deferrals
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
from plant.ledger.models import LedgerEntry
from plant.points.models import DueCount, MeasuringPoint
from plant.refusals import NotAllowed
from tests import makers
from tests.makers import NOON, TODAY

LATER = TODAY + dt.timedelta(30)


def asked(by, point=None, until=LATER, reason="No full tank before December.") -> Deferral:
    point = point or makers.a_point()
    return deferrals.ask(point, until=until, reason=reason, by=by, at=NOON)


def test_asking_leaves_the_due_date_and_tells_the_ledger_why(technician):
    deferral = asked(technician)
    assert MeasuringPoint.objects.get().next_due == TODAY
    entry = LedgerEntry.objects.get(act="ask deferral")
    assert (entry.person, entry.why) == (technician, "No full tank before December.")
    assert deferral.granted is None


def test_a_grant_moves_the_next_due_date_and_the_counts(planner, approver):
    deferrals.decide(asked(planner), granted=True, by=approver, at=NOON)
    point = MeasuringPoint.objects.get()
    assert (point.due_on, point.deferred_until, point.next_due) == (TODAY, LATER, LATER)
    counted = DueCount.objects.filter(points__gt=0).values_list("next_due", "is_deferred", "points")
    assert list(counted) == [(LATER, True, 1)]
    assert LedgerEntry.objects.get(act="grant deferral").person == approver


def test_a_refusal_needs_a_note_and_moves_nothing(planner, approver):
    deferral = asked(planner)
    with pytest.raises(NoNote):
        deferrals.decide(deferral, granted=False, by=approver, at=NOON)
    deferrals.decide(deferral, granted=False, note="The tank is full today.", by=approver, at=NOON)
    assert MeasuringPoint.objects.get().deferred_until is None
    assert LedgerEntry.objects.get(act="refuse deferral").why == "The tank is full today."


def test_nobody_decides_on_their_own_request(planner):
    both = makers.a_person("both", "planner", "approver")
    deferral = asked(both)
    with pytest.raises(OwnRequest):
        deferrals.decide(deferral, granted=True, by=both, at=NOON)
    assert MeasuringPoint.objects.get().deferred_until is None


def test_the_database_itself_refuses_a_decision_on_ones_own_request(planner):
    deferral = asked(planner)
    with (
        pytest.raises(IntegrityError, match="deferral_is_decided_by_another_person"),
        transaction.atomic(),
    ):
        Deferral.objects.filter(pk=deferral.pk).update(
            granted=True, decided_by=planner, decided_at=NOON
        )


def test_a_planner_cannot_grant(planner, technician):
    with pytest.raises(NotAllowed):
        deferrals.decide(asked(technician), granted=True, by=planner, at=NOON)


def test_auditors_and_outsiders_cannot_ask(auditor, outsider):
    point = makers.a_point()
    for person in (auditor, outsider):
        with pytest.raises(NotAllowed):
            asked(person, point)


@pytest.mark.parametrize(("granted", "word"), [(True, "granted"), (False, "refused")])
def test_the_second_decision_is_refused_and_told_the_first(planner, approver, granted, word):
    deferral = asked(planner)
    deferrals.decide(deferral, granted=granted, note="As agreed.", by=approver, at=NOON)
    second = makers.a_person("second", "approver", name="A second approver")
    with pytest.raises(AlreadyDecided, match=f"has {word} this deferral"):
        deferrals.decide(deferral, granted=not granted, note="No.", by=second, at=NOON)


@pytest.mark.parametrize("days", [0, -5])
def test_a_deferral_ends_after_the_due_date_and_after_today(planner, days):
    with pytest.raises(DayTooEarly):
        asked(planner, until=TODAY + dt.timedelta(days))


def test_one_request_at_a_time(planner, technician):
    point = makers.a_point()
    asked(planner, point)
    with pytest.raises(AlreadyAsked):
        asked(technician, point)


def test_a_request_without_a_reason_or_out_of_service_is_refused(planner):
    point = makers.a_point()
    with pytest.raises(NoReason):
        asked(planner, point, reason="  ")
    MeasuringPoint.objects.update(out_of_service_on=TODAY, out_of_service_why="opened")
    with pytest.raises(PointOutOfService):
        asked(planner, point)


def test_a_grant_is_refused_once_the_due_date_has_moved(planner, approver):
    deferral = asked(planner)
    MeasuringPoint.objects.update(due_on=TODAY + dt.timedelta(365))
    with pytest.raises(DueDateMoved):
        deferrals.decide(deferral, granted=True, by=approver, at=NOON)


def test_a_grant_is_refused_when_the_day_asked_for_has_come(planner, approver):
    deferral = asked(planner)
    with pytest.raises(DayPassed):
        deferrals.decide(deferral, granted=True, by=approver, at=NOON + dt.timedelta(31))


def test_an_approved_calibration_ends_the_deferral(planner, technician, approver):
    point = makers.an_equipped_point()
    deferrals.decide(asked(planner, point), granted=True, by=approver, at=NOON)
    makers.an_approved_record(point, by=technician, approved_by=approver)
    assert MeasuringPoint.objects.get().deferred_until is None
