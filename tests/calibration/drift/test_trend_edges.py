"""When a history is long enough for a line that no single bad reading can sway."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.drift.reads import trend_of
from tests.makers import TODAY, an_approved_record, an_equipped_point

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


def zero_after(visits: int, *, by, approved_by):
    """The drift of the zero after so many visits, ninety days apart, 0.1 % of span up each time."""
    point = an_equipped_point()
    for n in range(visits):
        done_on = TODAY - dt.timedelta(90 * (visits - n))
        errors = [round(0.1 * (n + 1), 2)] * 9
        an_approved_record(point, by=by, approved_by=approved_by, found=errors, done_on=done_on)
    return trend_of(point).zero


def test_three_visits_are_enough_for_the_robust_line(technician, approver):
    drift = zero_after(3, by=technician, approved_by=approver)
    assert drift.results == 3
    assert drift.robust == pytest.approx(0.1 / 90 * 365.25, rel=1e-3)


def test_two_visits_are_not(technician, approver):
    assert zero_after(2, by=technician, approved_by=approver).robust is None


def test_the_values_of_a_history_end_at_what_was_left(technician, approver):
    drift = zero_after(3, by=technician, approved_by=approver)
    assert drift.visits[-1].value == pytest.approx(0.3, abs=1e-6)
    assert drift.visits[1].value - drift.visits[0].value == pytest.approx(0.1, abs=1e-6)
