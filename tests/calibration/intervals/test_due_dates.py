"""Due dates as they follow from the days calibrated: which move, and what becomes of a deferral."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.intervals.due_dates import reschedule, schedule_after, schedule_with
from plant.points.models import MeasuringPoint
from tests.makers import TODAY, a_point, an_equipped_point, an_unsaved_record

DAY = dt.timedelta(1)


def after(*days: dt.date, months: int = 12, grace: int = 10) -> dt.date | None:
    schedule = schedule_after(days, interval_months=months, grace_days=grace)
    return schedule and schedule.due_on


def recorded(tag: str = "LT-1", *days: dt.date, **more) -> MeasuringPoint:
    point = an_equipped_point(tag, **more)
    device = point.installations.get().transmitter
    for day in days or (TODAY,):
        an_unsaved_record(point, day, device).save()
    return point


def stored(point: MeasuringPoint) -> MeasuringPoint:
    return MeasuringPoint.objects.get(pk=point.pk)


# ---- a history of days ----
def test_two_results_of_one_day_are_one_visit_in_whatever_order_they_came():
    first, second = dt.date(2025, 1, 31), dt.date(2026, 2, 5)
    assert after(first) == dt.date(2026, 1, 31)
    # Within the grace, so the cycle goes on from January.
    assert after(second, first, second) == after(first, second) == dt.date(2027, 1, 31)


def test_the_last_day_of_the_grace_keeps_the_cycle_and_the_next_starts_anew():
    first = dt.date(2025, 1, 31)
    for days, expected in ((10, dt.date(2027, 1, 31)), (11, dt.date(2027, 2, 11))):
        assert after(first, dt.date(2026, 1, 31) + days * DAY) == expected
    assert after(first, dt.date(2026, 1, 31) - 10 * DAY) == dt.date(2027, 1, 31)


def test_without_a_day_there_is_no_schedule():
    assert after() is None


# ---- stored ----
@pytest.mark.django_db
def test_only_what_moves_is_stored_and_counted():
    moved, other = recorded("LT-1"), recorded("LT-2")
    assert reschedule([moved.pk]) == 1
    assert stored(moved).due_on == dt.date(2027, 11, 2)
    assert (stored(moved).anchor_on, stored(moved).anchor_months) == (TODAY, 12)
    assert stored(other).due_on == TODAY
    assert reschedule([moved.pk]) == 0
    assert reschedule([moved.pk, other.pk]) == 1


@pytest.mark.django_db
def test_a_point_without_a_record_that_stands_keeps_its_date(site):
    point = an_equipped_point()
    device = point.installations.get().transmitter
    waiting = {"state": "submitted", "approved_by_name": "", "approved_at": None}
    an_unsaved_record(point, TODAY, device, **waiting).save()
    assert reschedule([point.pk, a_point("LT-2").pk]) == 0
    assert reschedule([]) == 0
    assert stored(point).due_on == TODAY


@pytest.mark.django_db
def test_each_point_goes_by_its_own_interval_and_grace():
    last = dt.date(2026, 11, 12)
    days = (dt.date(2025, 11, 2), last)
    kept = recorded("LT-1", *days, interval_months=12, grace_days=10)
    anew = recorded("LT-2", *days, interval_months=12, grace_days=9)
    short = recorded("LT-3", *days, interval_months=6, grace_days=0)
    assert reschedule([kept.pk, anew.pk, short.pk]) == 3
    assert [stored(p).due_on for p in (kept, anew, short)] == [
        dt.date(2027, 11, 2),
        dt.date(2027, 11, 12),
        dt.date(2027, 5, 12),
    ]


@pytest.mark.django_db
@pytest.mark.parametrize("moves", [True, False])
def test_a_deferral_ends_when_the_due_date_moves_and_only_then(moves):
    due = TODAY if moves else dt.date(2027, 11, 2)
    until = dt.date(2027, 12, 1)
    point = recorded("LT-1", due_on=due)
    MeasuringPoint.objects.filter(pk=point.pk).update(deferred_until=until)
    assert reschedule([point.pk]) == 1  # the anchor at least
    assert stored(point).deferred_until == (None if moves else until)


# ---- what an approval would do ----
DONE = dt.date(2026, 3, 1)


def a_part(day: dt.date, *, output: bool, primary: bool) -> dict:
    return {"day": day.isoformat(), "output": output, "primary": primary, "within": 30}


@pytest.mark.parametrize(
    ("facts", "earlier", "counts_from"),
    [
        ({}, [], DONE),
        ({"is_check": True}, [], None),
        ({"left_verdict": "fail"}, [], None),
        ({"covers_primary": False}, [], None),
        ({"covers_primary": False}, [a_part(dt.date(2026, 2, 9), output=False, primary=True)],
         dt.date(2026, 2, 9)),
        ({"covers_primary": False}, [a_part(dt.date(2026, 1, 9), output=False, primary=True)],
         None),
    ],
)  # fmt: skip
def test_an_approval_would_move_the_due_date_where_it_completes_the_result(
    site, facts, earlier, counts_from
):
    point = an_equipped_point(interval_months=12, grace_days=0)
    device = point.installations.get().transmitter
    record = an_unsaved_record(
        point, DONE, device, **{"covers_output": True, "covers_primary": True} | facts
    )
    schedule = schedule_with(record, earlier, present=[device.pk])
    expected = counts_from and counts_from.replace(year=2027)
    assert (schedule and schedule.due_on) == expected
    assert schedule_with(record, earlier, present=[device.pk + 1]) is None
