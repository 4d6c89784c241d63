"""What the due list reads: counts by state, weeks of work, and each row's parts, to the day."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from calibration.drift.models import Trend
from calibration.due.reads import counts_of, points_in, results_of, rows_of
from calibration.due.weeks import WEEKS, weeks_ahead
from calibration.jobs import acts as jobs
from plant.points.models import MeasuringPoint
from tests.makers import (
    NOON,
    a_calibrated_point,
    a_job,
    a_record,
    a_round,
    a_site,
    a_tank,
    an_approved_record,
    an_equipped_point,
    an_unsaved_record,
)

pytestmark = pytest.mark.django_db

DAY = dt.date(2026, 11, 4)  # a Wednesday
MONDAY = dt.date(2026, 11, 2)


def due_in(days: int, tag: str, **more) -> MeasuringPoint:
    return a_calibrated_point(tag, due_on=DAY + dt.timedelta(days), **more)


def row_of(point: MeasuringPoint):
    [row] = rows_of([point.pk], {point.site_id: DAY})
    return row


# ---- counts ----
def test_each_point_counts_once_by_how_far_off_its_day_is(site):
    for days in (-1, 0, 30, 31, 90, 91):
        due_in(days, f"LT-{days + 1}")
    due_in(-1, "LT-900", deferred_until=DAY)
    due_in(-9, "LT-901", deferred_until=DAY - dt.timedelta(1))
    due_in(0, "LT-902", out_of_service_on=DAY, out_of_service_why="opened")
    counts = counts_of({site.pk: DAY})
    assert (counts.overdue, counts.soon, counts.later, counts.in_date) == (2, 2, 2, 1)
    assert (counts.deferred, counts.off, counts.now) == (1, 1, 4)
    listed = {
        state: points_in([site], {site.pk: DAY}, {"state": state})[0].count()
        for state in counts.by_state
    }
    assert listed == counts.by_state


def test_each_site_counts_by_its_own_day(site):
    other = a_site("N", "Neelghat")
    due_in(0, "LT-1")
    a_calibrated_point("LT-2", tank=a_tank(site=other), due_on=DAY)
    counts = counts_of({site.pk: DAY, other.pk: DAY + dt.timedelta(1)})
    assert (counts.overdue, counts.soon) == (1, 1)
    assert counts_of({site.pk: DAY}).now == 1


# ---- weeks of work ----
def test_a_week_runs_from_monday_to_sunday_and_the_first_holds_what_is_overdue(site):
    due_in(-40, "LT-1", job_hours=Decimal("1.5"))
    due_in(4, "LT-2", job_hours=Decimal(2))  # Sunday
    due_in(5, "LT-3", job_hours=Decimal(4))  # the next Monday
    weeks = weeks_ahead({site.pk: DAY}, {site.pk: "?week="})[site.pk]
    first, second, third, *_ = weeks
    assert len(weeks) == WEEKS
    assert first == (MONDAY, 3.5, 2, "?week=2026-11-02")
    assert second == (MONDAY + dt.timedelta(7), 4.0, 1, "?week=2026-11-09")
    assert third == (MONDAY + dt.timedelta(14), 0.0, 0, "")


def test_the_year_ahead_ends_after_fifty_two_weeks(site):
    due_in(52 * 7 - 3, "LT-1")  # the Sunday of the last week
    due_in(52 * 7 - 2, "LT-2")
    weeks = weeks_ahead({site.pk: DAY})[site.pk]
    assert sum(week.points for week in weeks) == weeks[-1].points == 1


def test_the_hours_of_two_sites_are_never_added(site, django_assert_num_queries):
    other = a_site("N", "Neelghat")
    due_in(4, "LT-1", job_hours=Decimal(2))
    a_calibrated_point("LT-2", tank=a_tank(site=other), due_on=DAY, job_hours=Decimal(3))
    a_week_on = DAY + dt.timedelta(7)  # its own day: what is due today is overdue there
    with django_assert_num_queries(1):
        weeks = weeks_ahead({site.pk: DAY, other.pk: a_week_on})
    assert [weeks[pk][0].hours for pk in (site.pk, other.pk)] == [2.0, 3.0]
    assert weeks[other.pk][0].starts_on == MONDAY + dt.timedelta(7)


def test_a_week_opens_what_its_bar_counts(site):
    for days, tag in ((-40, "LT-1"), (4, "LT-2"), (5, "LT-3"), (11, "LT-4"), (12, "LT-5")):
        due_in(days, tag)

    def opened(week: dt.date) -> list[str]:
        [points] = points_in([site], {site.pk: DAY}, {"week": week})
        return sorted(point.tag for point in points)

    assert opened(MONDAY) == ["LT-1", "LT-2"]
    assert opened(MONDAY + dt.timedelta(7)) == ["LT-3", "LT-4"]


# ---- rows ----
def test_a_row_says_where_the_point_is_and_how_far_its_interval_has_run(site):
    row = row_of(due_in(0, "LT-1", job_hours=Decimal("2.5")))
    assert (row.tag, row.tank) == ("LT-1", "T-101")
    assert (row.product, row.area) == ("palm olein", "Quay park")
    assert (row.run, row.hours) == (pytest.approx(1.0), Decimal("2.5"))
    assert (row.status.kind, row.status.text) == ("soon", "due today")
    off = due_in(0, "LT-2", out_of_service_on=DAY, out_of_service_why="opened")
    assert (row_of(off).run, row_of(off).may_join) == (None, False)


def test_rows_stand_in_the_order_asked_for(site):
    pks = [due_in(0, tag).pk for tag in ("LT-1", "LT-2", "LT-3")][::-1]
    assert [row.pk for row in rows_of(pks, {site.pk: DAY})] == pks
    assert rows_of([], {}) == []


@pytest.mark.parametrize(
    ("rates", "shown"),
    [((0.1, -0.3), -0.3), ((0.3, 0.1), 0.3), ((None, 0.1), 0.1), ((0.2, None), 0.2)],
)
def test_a_row_shows_the_faster_of_two_drifts(site, rates, shown):
    point = an_equipped_point()
    zero, span = rates
    Trend.objects.create(
        site=point.site,
        point=point,
        transmitter=point.installations.get().transmitter,
        results=3,
        fitted_at=NOON,
        zero_rate=zero,
        span_rate=span,
    )
    assert row_of(point).drift == shown


def test_a_point_joins_a_round_unless_it_has_a_job_in_hand_or_a_stop(planner, technician):
    free, planned, stop, in_hand, waiting = (
        an_equipped_point(tag) for tag in ("LT-1", "LT-2", "LT-3", "LT-4", "LT-5")
    )
    jobs.plan(planned, technician=technician, planned_on=DAY, by=planner)
    made = a_round([stop], technician=technician, by=planner)
    a_job(in_hand, by=technician)
    a_record(waiting, by=technician)
    may_join = {p.tag: row_of(p).may_join for p in (free, planned, stop, in_hand, waiting)}
    assert may_join == {"LT-1": True, "LT-2": True, "LT-3": False, "LT-4": False, "LT-5": False}
    assert (row_of(planned).job, row_of(planned).job_day) == ("planned", DAY)
    assert row_of(planned).technician == "T. Quillane"
    assert (row_of(stop).round_id, row_of(in_hand).job_day) == (made.pk, None)


def test_a_row_shows_the_last_result_that_stands(technician, approver):
    point = an_equipped_point()
    assert row_of(point).result is None
    an_approved_record(point, by=technician, approved_by=approver, found=[0.3] * 9)
    older = dt.date(2026, 5, 1)
    an_approved_record(point, by=technician, approved_by=approver, done_on=older)
    a_record(point, by=technician, found=[0.9] * 9)  # not approved yet
    result = row_of(point).result
    assert (result.done_on, result.verdict, result.tolerance.half) == (NOON.date(), "pass", 1.0)
    assert max(result.found) == pytest.approx(0.3, abs=0.001)


def test_the_verdict_as_left_stands_for_a_missing_one_as_found(site):
    point = an_equipped_point()
    device = point.installations.get().transmitter
    facts = {"found_verdict": "", "left_verdict": "fail", "no_as_found_reason": "it was dead"}
    record = an_unsaved_record(point, DAY, device, **facts)
    record.save()
    assert row_of(point).result.verdict == "fail"
    assert results_of([record.pk])[record.pk].verdict == "fail"
    assert results_of([]) == {}
