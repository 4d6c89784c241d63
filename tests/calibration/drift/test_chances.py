"""The table of chances: the day of each chance of failing, by the functions of the fleet."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.drift.chances import FAILING, chance_rows
from calibration.drift.models import Trend
from calibration.drift.reads import trend_of
from calibration.drift.trends import refit
from calibration.fleet import acts as fleet
from plant.quantities import short_probability_text
from tests.calibration.drift.test_verdicts import a_bent_family, a_bent_point, clock
from tests.makers import an_equipped_point, past_records

pytestmark = pytest.mark.django_db
TODAY, DUE = dt.date(2026, 11, 20), dt.date(2027, 2, 1)


@pytest.fixture
def drifting(site):
    """0.1 % of span a year within 1 %: it fails within a few years."""
    a_bent_family(0.2, drift=0.1)
    fleet.run(clock=clock, nightly=True)
    return a_bent_point("LT-200", 0.2, drift=0.1)


def test_each_day_is_the_first_on_which_the_chance_of_passing_is_so_low(drifting):
    trend = trend_of(drifting)
    days = trend.days_below([1 - share for share in FAILING])
    assert days == sorted(days)
    for share, day in zip(FAILING, days, strict=True):
        assert trend.chance(day) == pytest.approx(1 - share, abs=0.01)
        assert trend.chance(day - dt.timedelta(20)) > 1 - share
        assert trend.chance(day + dt.timedelta(20)) < 1 - share


def test_the_day_of_the_floor_is_the_one_that_puts_the_point_in_doubt(drifting):
    refit([drifting.pk])
    rows = chance_rows(trend_of(drifting), today=TODAY, due=DUE)
    [floor] = [row for row in rows if "in doubt from then on" in row.note]
    assert floor.on == Trend.objects.get(point=drifting).doubt_on
    assert floor.fails == "20\xa0%"


def test_rows_run_in_the_order_of_time_and_name_today_and_the_due_date(drifting):
    trend = trend_of(drifting)
    rows = chance_rows(trend, today=TODAY, due=DUE)
    assert [row.on for row in rows] == sorted(row.on for row in rows)
    [today] = [row for row in rows if row.is_today]
    assert (today.on, today.note) == (TODAY, "today")
    [due] = [row for row in rows if row.note == "due"]
    assert due.passes == short_probability_text(trend.chance(DUE))
    assert not today.is_crossing
    assert not due.is_crossing


def test_a_day_that_has_passed_says_so_and_one_that_comes_too(drifting):
    trend = trend_of(drifting)
    [day] = trend.days_below([0.9])
    for today, note in (
        (day + dt.timedelta(9), "passed 9 d ago"),
        (day, "today"),
        (day - dt.timedelta(9), "in 9 d"),
    ):
        [row] = [
            row
            for row in chance_rows(trend, today=today, due=DUE)
            if row.is_crossing and row.fails == "10\xa0%"
        ]
        assert (row.note, row.is_past) == (note, day < today)


def test_due_today_is_one_row(drifting):
    rows = chance_rows(trend_of(drifting), today=TODAY, due=TODAY)
    assert [row.note for row in rows if not row.is_crossing] == ["today, and due"]


def test_what_is_not_reached_within_ten_years_is_one_row_at_the_end(site):
    a_bent_family(0.1, drift=0.0)
    fleet.run(clock=clock, nightly=True)
    point = a_bent_point("LT-200", 0.1, drift=0.0, years=9)
    rows = chance_rows(trend_of(point), today=TODAY, due=DUE)
    never = [row for row in rows if row.on is None]
    assert [row.fails for row in never] == [rows[-1].fails]
    assert rows[-1].day == "not within 10 years"
    assert not rows[-1].is_past


def test_what_is_so_since_the_last_result_is_one_row(site):
    """Its readings bend so far that it hardly ever passes."""
    rows = chance_rows(trend_of(a_bent_point("LT-200", 1.1)), today=TODAY, due=DUE)
    [first] = [row for row in rows if row.is_crossing and row.on < TODAY]
    assert first.fails == "50\xa0%"
    assert first.note.endswith("since the last result")


def test_where_one_end_is_known_alone_the_rows_say_so_and_name_no_day_of_failing(site):
    point = an_equipped_point()
    past_records(point, *[{"found_at_span": None, "left_at_span": None, "u_zero": 0.02}] * 4)
    rows = chance_rows(trend_of(point), today=TODAY, due=DUE)
    assert [row.note for row in rows] == ["today, for zero alone", "due, for zero alone"]


def test_nothing_known_gives_no_rows(site):
    assert chance_rows(trend_of(an_equipped_point()), today=TODAY, due=DUE) == []
