"""Month arithmetic of due dates: INT-10, and every case of forty years against an oracle."""

import datetime as dt
from itertools import repeat

import numpy as np
import pytest
from dateutil.relativedelta import relativedelta

from calibration.metrology.due import Schedule, add_months, next_due
from tests.published.reference import reference

FIRST, LAST = dt.date(2020, 1, 1), dt.date(2060, 12, 31)
STARTS = [FIRST + dt.timedelta(days) for days in range((LAST - FIRST).days + 1)]


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def test_months_clamp_at_month_end_int_10():
    inputs, expected = reference("INT-10")
    due = [add_months(day(start), months).isoformat() for start, months in inputs["cases"]]
    assert due == expected["due"]


def test_the_anchor_day_survives_february_int_10():
    inputs, expected = reference("INT-10")
    anchor = day(inputs["anchor_case"]["anchor"])
    schedule = Schedule(anchor, 0, anchor)
    series = []
    for _ in range(inputs["anchor_case"]["count"]):
        schedule = next_due(schedule.due_on, interval_months=1, previous=schedule)
        series.append(schedule.due_on.isoformat())
    assert series == expected["anchor_series"]


def test_all_1_797_120_starts_and_intervals_equal_the_oracle():
    """Oracle: NumPy's own calendar.

    A date in a month is its first day plus the day, held to the month's last.
    """
    assert len(STARTS) * 120 == 1_797_120
    starts = np.array(STARTS, dtype="datetime64[D]")
    month = starts.astype("datetime64[M]")
    offset = (starts - month.astype("datetime64[D]")).astype(int)
    for months in range(1, 121):
        first = (month + months).astype("datetime64[D]")
        last = (month + months + 1).astype("datetime64[D]") - 1
        oracle = np.minimum(first + offset, last).tolist()
        assert list(map(add_months, STARTS, repeat(months))) == oracle, f"{months} months"


def test_a_sample_of_starts_equals_dateutil():
    """python-dateutil 2.9.0, relativedelta."""
    rng = np.random.default_rng(20)
    for i, months in zip(
        rng.integers(0, len(STARTS), 5000), rng.integers(1, 121, 5000), strict=True
    ):
        assert add_months(STARTS[i], int(months)) == STARTS[i] + relativedelta(months=int(months))


@pytest.fixture(scope="module")
def monthly_years():
    """Of every start: the due date after twelve monthly calibrations, and after twelve months
    added.
    """
    anchored, naive = [], []
    for start in STARTS:
        schedule, step = next_due(start, interval_months=1), start
        for _ in range(11):
            schedule = next_due(schedule.due_on, interval_months=1, previous=schedule)
        for _ in range(12):
            step = add_months(step, 1)
        anchored.append(schedule.due_on)
        naive.append(step)
    return anchored, naive


def test_twelve_times_one_month_is_once_twelve_months(monthly_years):
    yearly = [next_due(start, interval_months=12).due_on for start in STARTS]
    assert monthly_years[0] == yearly


def test_chaining_from_due_date_to_due_date_would_go_wrong_on_1_078_starts(monthly_years):
    """Why the anchor is kept.

    A chain loses the 30th and 31st, and most years the 29th, when it passes February.
    """
    wrong = [
        start
        for start, due in zip(STARTS, monthly_years[1], strict=True)
        if due != add_months(start, 12)
    ]
    assert len(wrong) == 1078
    assert all(start.day > 28 for start in wrong)
