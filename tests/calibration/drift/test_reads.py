"""The drift of the transmitter at a point, as its page shows it: worked by hand."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.drift.models import Trend
from calibration.drift.reads import Drift, TooFewResults, trend_of
from calibration.drift.results import DAYS_PER_YEAR
from calibration.drift.trends import refit
from plant.transmitters.models import Installation
from tests.makers import an_equipped_point, an_unsaved_record, past_records

pytestmark = pytest.mark.django_db

SIMULATED = {"way": "simulated output"}


def column_of(drift: Drift, name: str) -> list:
    return [getattr(visit, name) for visit in drift.visits]


def both_ends(found: float, left: float | None = None) -> dict:
    """The same at zero and at span; adjusted where it was left otherwise."""
    stands = found if left is None else left
    readings = {"found_at_zero": found, "found_at_span": found}
    return readings | {
        "left_at_zero": stands,
        "left_at_span": stands,
        "adjusted": left is not None,
    }


def test_an_adjustment_is_no_drift(site):
    """0.1 → 0.6, set to 0.0, → 0.2 and → 1.3: drifts of 0.5, 0.2 and 1.1, drawn up to the last."""
    point = an_equipped_point()
    past_records(point, both_ends(0.1), both_ends(0.6, 0.0), both_ends(0.2), both_ends(1.3))
    drift = trend_of(point).span
    assert column_of(drift, "value") == pytest.approx([-0.5, 0.0, 0.2, 1.3])
    assert column_of(drift, "found") == pytest.approx([0.1, 0.6, 0.2, 1.3])
    assert column_of(drift, "left") == pytest.approx([0.1, 0.0, 0.2, 1.3])
    assert column_of(drift, "adjusted") == [False, True, False, False]
    assert column_of(drift, "out") == [False, False, False, True]
    assert drift.days == [dt.date(year, 6, 1) for year in (2023, 2024, 2025, 2026)]
    assert drift.results == 4


def test_the_plain_rate_is_one_line_through_all_increments(site):
    """0.1 and 0.4 in 365 days each."""
    point = an_equipped_point()
    past_records(point, *(both_ends(error) for error in (0.1, 0.2, 0.6)))
    assert trend_of(point).zero.plain.slope == pytest.approx(0.25 / 365 * DAYS_PER_YEAR)


def test_a_new_level_counts_in_no_increment_and_leaves_no_robust_line(site):
    """The output was trimmed between the second and the third wetted level."""
    point = an_equipped_point()
    trim = SIMULATED | {"adjusted": True}
    past_records(
        point, both_ends(0.0), both_ends(0.1), trim, both_ends(0.9), both_ends(1.0), both_ends(1.1)
    )
    drift = trend_of(point).zero
    assert column_of(drift, "fresh") == [False, False, True, False, False]
    assert column_of(drift, "value") == pytest.approx([0.8, 0.9, 0.9, 1.0, 1.1])
    assert drift.plain.slope == pytest.approx(0.1, rel=0.01)
    assert drift.robust is None


def test_of_two_results_of_one_day_the_later_one_stands(site):
    point = an_equipped_point()
    device = Installation.objects.get(point=point).transmitter
    past_records(point, both_ends(0.0), both_ends(0.3))
    again = an_unsaved_record(point, dt.date(2026, 6, 1), device, **both_ends(0.2))
    again.save()
    drift = trend_of(point).zero
    assert drift.results == 2
    assert (drift.visits[-1].record, drift.visits[-1].left) == (again.pk, 0.2)


def test_one_result_has_no_drift_and_says_so(site):
    point = an_equipped_point()
    past_records(point, both_ends(0.1))
    drift = trend_of(point).zero
    with pytest.raises(TooFewResults, match="1 results; 2 are needed") as refusal:
        _ = drift.rate
    assert refusal.value.results == 1
    with pytest.raises(TooFewResults):
        drift.in_tolerance(dt.date(2027, 6, 1))
    assert (drift.crossing_on, drift.dated, drift.plain) == (None, False, None)
    assert column_of(drift, "value") == [0.1]


def test_a_day_before_the_last_result_is_judged_as_that_day(site):
    point = an_equipped_point()
    past_records(point, *(both_ends(0.2 * year) for year in range(5)))
    drift = trend_of(point).zero
    last = drift.days[-1]
    assert drift.in_tolerance(last - dt.timedelta(100)) == drift.in_tolerance(last)
    assert drift.in_tolerance(last + dt.timedelta(365)) < drift.in_tolerance(last)
    ahead = drift.ahead([last, last + dt.timedelta(731)])
    grown = (ahead.centre[1] - ahead.centre[0])[0]
    assert grown == pytest.approx(drift.rate[0] * 731 / DAYS_PER_YEAR, rel=1e-6)


def test_the_stored_trend_is_that_of_the_page(site):
    """Zero drifts by 0.05 % a year and span by 0.15: span meets the tolerance first."""
    point = an_equipped_point(due_on=dt.date(2027, 6, 1))
    past_records(
        point,
        *(
            both_ends(0.05 * year) | {"found_at_span": 0.15 * year, "left_at_span": 0.15 * year}
            for year in range(6)
        ),
    )
    assert refit([point.pk]) == 1
    stored, shown = Trend.objects.get(point=point), trend_of(point)
    for name in ("zero", "span"):
        rates = [getattr(stored, f"{name}_rate{part}") for part in ("", "_low", "_high")]
        assert rates == pytest.approx(getattr(shown, name).rate)
    assert (stored.crossing_on, stored.crossing_of) == shown.first_crossing
    assert shown.first_crossing[1] == "span"
    assert stored.in_tolerance == pytest.approx(shown.chance(dt.date(2027, 6, 1)), abs=1e-6)
    assert stored.in_tolerance < shown.span.in_tolerance(dt.date(2027, 6, 1))
    assert stored.in_tolerance < shown.zero.in_tolerance(dt.date(2027, 6, 1))
    assert stored.own_weight == pytest.approx(float(shown.span.outlook.own_weight[0]))
    assert (stored.results, stored.transmitter_id) == (6, shown.transmitter_id)


def test_points_without_a_result_have_no_trend(site):
    assert refit([an_equipped_point().pk]) == 0
    assert not Trend.objects.exists()


def test_a_tolerance_in_millimetres_counts_in_per_cent_of_the_range(site):
    """40 mm of a range of 8 m is 0.5 %."""
    point = an_equipped_point(tolerance=40, tolerance_unit="mm", adjust_limit=20)
    past_records(point, both_ends(0.4), both_ends(0.6))
    trend = trend_of(point)
    assert trend.tolerance_percent == pytest.approx(0.5)
    assert column_of(trend.zero, "out") == [False, True]


def test_a_point_without_a_transmitter_shows_an_empty_drift(site):
    point = an_equipped_point()
    Installation.objects.filter(point=point).update(removed_on=dt.date(2026, 1, 1))
    trend = trend_of(point)
    assert (trend.results, trend.transmitter_id, trend.first_crossing) == (0, None, None)
    assert trend.tolerance_percent == 1.0
