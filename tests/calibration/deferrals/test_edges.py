"""A deferral to the day: the first it may end on, the last it may be granted on; what is kept."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.deferrals import acts as deferrals
from calibration.deferrals.models import Deferral
from calibration.deferrals.refusals import DayPassed, DayTooEarly
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from tests.makers import NOON, TODAY, a_person, a_point, a_site, a_tank
from tests.races import outcomes

pytestmark = pytest.mark.django_db

DAY = dt.timedelta(1)
UNTIL = TODAY + 30 * DAY


def asked(by, point=None, *, until: dt.date = UNTIL, at: dt.datetime = NOON) -> Deferral:
    facts = {"until": until, "reason": " No full tank. ", "by": by, "at": at}
    return deferrals.ask(point or a_point(), **facts)


def decided(deferral: Deferral, *, by, granted: bool = True, at: dt.datetime = NOON) -> Deferral:
    return deferrals.decide(deferral, granted=granted, note=" as agreed ", by=by, at=at)


# ---- asked ----
def test_a_request_keeps_the_due_date_it_is_about_and_who_asked_why(technician):
    deferral = asked(technician)
    deferral.refresh_from_db()
    assert (deferral.due_on, deferral.until, deferral.reason) == (TODAY, UNTIL, "No full tank.")
    assert (deferral.asked_by, deferral.asked_at) == (technician, NOON)
    assert (deferral.granted, deferral.decided_by) == (None, None)
    assert LedgerEntry.objects.get(act="ask deferral").details == {
        "tag": "LT-101A",
        "due": "2026-11-02",
        "until": "2026-12-02",
        "asked by": "T. Quillane",
    }


@pytest.mark.parametrize(
    ("due_in", "until_in", "fits"),
    [(10, 10, False), (10, 11, True), (-10, 0, False), (-10, 1, True)],
)
def test_a_deferral_ends_after_the_later_of_due_date_and_today(planner, due_in, until_in, fits):
    point = a_point(due_on=TODAY + due_in * DAY)
    until = TODAY + until_in * DAY
    if fits:
        assert asked(planner, point, until=until).until == until
        return
    with pytest.raises(DayTooEarly) as refusal:
        asked(planner, point, until=until)
    assert refusal.value.after == max(point.due_on, TODAY)


def test_today_is_that_of_the_site(db):
    """At 20:00 UTC the next day has begun in Kolkata."""
    site = a_site("N", "Neelghat", "Asia/Kolkata")
    planner = a_person("far", "planner", site=site)
    point = a_point(tank=a_tank(site=site), due_on=TODAY - DAY)
    evening = NOON + dt.timedelta(hours=8)
    with pytest.raises(DayTooEarly):
        asked(planner, point, until=TODAY + DAY, at=evening)
    assert asked(planner, point, until=TODAY + 2 * DAY, at=evening).pk


def test_a_deferred_point_is_deferred_again_beyond_its_day(planner, approver):
    point = a_point()
    decided(asked(planner, point), by=approver)
    with pytest.raises(DayTooEarly):
        asked(planner, point, until=UNTIL)
    decided(asked(planner, point, until=UNTIL + DAY), by=approver)
    assert MeasuringPoint.objects.get().next_due == UNTIL + DAY


# ---- decided ----
@pytest.mark.parametrize("granted", [True, False])
def test_a_decision_keeps_who_when_and_the_note(planner, approver, granted):
    deferral = decided(asked(planner), by=approver, granted=granted)
    deferral.refresh_from_db()
    assert (deferral.granted, deferral.decision_note) == (granted, "as agreed")
    assert (deferral.decided_by, deferral.decided_at) == (approver, NOON)
    entry = LedgerEntry.objects.get(act="grant deferral" if granted else "refuse deferral")
    assert (entry.person, entry.why) == (approver, "as agreed")
    assert entry.details["asked by"] == "A. Marrowby"


@pytest.mark.parametrize(("days", "granted"), [(29, True), (30, False)])
def test_a_grant_is_given_up_to_the_day_before_it_ends(planner, approver, days, granted):
    deferral = asked(planner)
    if granted:
        assert decided(deferral, by=approver, at=NOON + days * DAY).granted
        return
    with pytest.raises(DayPassed) as refusal:
        decided(deferral, by=approver, at=NOON + days * DAY)
    assert refusal.value.until == UNTIL
    assert MeasuringPoint.objects.get().deferred_until is None


def test_after_a_decision_another_may_be_asked_for(planner, approver):
    point = a_point()
    decided(asked(planner, point), by=approver, granted=False)
    assert asked(planner, point).pk


@pytest.mark.django_db(transaction=True)
def test_of_two_who_ask_at_once_one_is_told(planner, technician):
    for n in range(3):
        point = a_point(f"LT-{n}")
        outcome = outcomes(
            lambda point=point: asked(planner, point),
            lambda point=point: asked(technician, point),
        )
        assert "done" in outcome
        assert Deferral.objects.filter(point=point).count() == 1
        assert sum("already" in text for text in outcome) == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_who_decide_at_once_one_is_told(planner, approver):
    second = a_person("second", "approver", name="A second approver")
    deferral = asked(planner)
    outcome = outcomes(
        lambda: decided(deferral, by=approver),
        lambda: decided(deferral, by=second, granted=False),
    )
    assert outcome.count("done") == 1
    deferral.refresh_from_db()
    entries = LedgerEntry.objects.filter(act__in=("grant deferral", "refuse deferral"))
    assert [entry.person for entry in entries] == [deferral.decided_by]
