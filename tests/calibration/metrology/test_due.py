import datetime as dt

import pytest

from calibration.metrology.due import Schedule, next_due

DUE_IN_FEBRUARY = Schedule(dt.date(2025, 8, 31), 6, dt.date(2026, 2, 28))


def after(done_on, *, grace=10, interval=6):
    return next_due(done_on, interval_months=interval, grace_days=grace, previous=DUE_IN_FEBRUARY)


def test_first_calibration_starts_the_cycle():
    assert next_due(dt.date(2026, 1, 31), interval_months=1) == Schedule(
        dt.date(2026, 1, 31), 1, dt.date(2026, 2, 28)
    )


@pytest.mark.parametrize("days", [-10, -1, 0, 1, 10])
def test_calibration_within_the_grace_keeps_the_anchor(days):
    schedule = after(DUE_IN_FEBRUARY.due_on + dt.timedelta(days))
    assert schedule == Schedule(dt.date(2025, 8, 31), 12, dt.date(2026, 8, 31))


@pytest.mark.parametrize("days", [-11, 11])
def test_calibration_outside_the_grace_moves_the_anchor(days):
    done_on = DUE_IN_FEBRUARY.due_on + dt.timedelta(days)
    assert after(done_on).anchor_on == done_on
    assert after(done_on).anchor_months == 6


def test_new_interval_counts_from_the_date_it_was_due():
    assert after(dt.date(2026, 3, 1), interval=3).due_on == dt.date(2026, 5, 31)


def test_without_grace_only_the_due_day_itself_keeps_the_anchor():
    assert after(dt.date(2026, 2, 28), grace=0).anchor_on == dt.date(2025, 8, 31)
    assert after(dt.date(2026, 3, 1), grace=0).anchor_on == dt.date(2026, 3, 1)


@pytest.mark.parametrize(
    ("interval", "due_on"), [(1, dt.date(2026, 2, 28)), (120, dt.date(2036, 1, 31))]
)
def test_the_shortest_and_the_longest_interval_are_taken(interval, due_on):
    assert next_due(dt.date(2026, 1, 31), interval_months=interval).due_on == due_on


@pytest.mark.parametrize("interval", [0, -1, 121])
def test_interval_outside_1_to_120_months_is_refused(interval):
    with pytest.raises(ValueError, match="1 to 120 months"):
        next_due(dt.date(2026, 1, 31), interval_months=interval)


def test_grace_below_zero_is_refused():
    with pytest.raises(ValueError, match="grace_days: -1"):
        next_due(dt.date(2026, 1, 31), interval_months=1, grace_days=-1)
