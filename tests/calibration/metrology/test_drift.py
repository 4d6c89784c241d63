import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from calibration.metrology.drift import (
    CannotFit,
    accumulated_drift,
    crossing,
    drift_increments,
    fit_line,
    fit_lines,
    through_origin,
)

STEADY = fit_line([0.0, 1.0, 2.0, 3.0], [0.0, 0.1, 0.2, 0.3])  # 0.1 % of span a year
SCATTERED = fit_line([0.0, 1.0, 2.1, 2.9, 4.0], [0.02, 0.09, 0.23, 0.27, 0.41])


def test_an_adjustment_is_not_counted_as_drift():
    # Each interval drifts 0.30 % of span; between them 0.25 was adjusted away.
    assert accumulated_drift([None, 0.30, 0.35], [0.00, 0.05, 0.35]) == pytest.approx([0, 0.3, 0.6])


def test_first_visit_alone_has_drifted_nothing():
    assert accumulated_drift([None], [0.1]).tolist() == [0.0]


@pytest.mark.parametrize(
    ("found", "left", "argument", "reason"),
    [
        ([None, 0.1, None], [0.0, 0.1, 0.1], "as_found", "visit 3 has no value"),
        ([None, 0.1, 0.2], [0.0, None, 0.1], "as_left", "visit 2 has no value"),
        ([None, math.inf], [0.0, 0.1], "as_found", "visit 2"),
        ([None, 0.1], [0.0], "as_found, as_left", "one value a visit"),
        ([], [], "as_found, as_left", "at least one visit"),
    ],
)
def test_history_with_a_gap_is_refused(found, left, argument, reason):
    with pytest.raises(CannotFit, match=reason) as refusal:
        drift_increments(found, left)
    assert refusal.value.argument == argument


@pytest.mark.parametrize(
    ("x", "y", "argument", "reason"),
    [
        ([0.0, 1.0], [0.1, 0.2], "x", "2 readings.*1 more"),
        ([], [], "x", "0 readings"),
        ([2.0, 2.0, 2.0], [0.1, 0.2, 0.3], "x", "all readings are of one time"),
        ([0.0, math.nan, 2.0], [0.1, 0.2, 0.3], "x", "reading 2 is not a number"),
        ([0.0, 1.0, 2.0], [0.1, 0.2, math.inf], "y", "reading 3 is not a number"),
        ([0.0, 1.0, 2.0], [0.1, 0.2], "x, y", "one value a reading"),
        ([[0.0, 1.0, 2.0]], [[0.1, 0.2, 0.3]], "x, y", "one value a reading"),
    ],
)
def test_readings_that_give_no_line_are_refused(x, y, argument, reason):
    with pytest.raises(CannotFit, match=reason) as refusal:
        fit_line(x, y)
    assert refusal.value.argument == argument


@pytest.mark.parametrize(
    ("x", "y", "reason"),
    [([1.0], [0.1], "1 increments"), ([0.0, 0.0], [0.1, 0.2], "no time passes")],
)
def test_increments_that_give_no_rate_are_refused(x, y, reason):
    with pytest.raises(CannotFit, match=reason):
        through_origin(x, y)


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_confidence_outside_0_to_1_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence"):
        SCATTERED.predict(5.0, confidence)


def test_prediction_at_no_time_is_refused():
    with pytest.raises(CannotFit, match="not a number"):
        SCATTERED.predict([5.0, math.nan])


def test_dates_far_from_their_epoch_lose_no_digits():
    days = np.array([0.0, 182, 370, 546, 732])
    values = np.array([0.0, 0.09, 0.2, 0.29, 0.4])
    near, far = fit_line(days, values), fit_line(days + 739_000, values)
    assert far.slope == pytest.approx(near.slope, rel=1e-12)
    assert far.predict(739_900).half_width == pytest.approx(near.predict(900).half_width, rel=1e-12)
    assert far.predict(739_900).centre == pytest.approx(near.predict(900).centre, rel=1e-12)


def test_band_holds_the_next_reading_as_often_as_it_says():
    rng = np.random.default_rng(11)
    x = np.arange(6.0)
    held = 0
    for _ in range(4000):
        y = 0.1 + 0.2 * x + rng.normal(0, 0.05, 6)
        centre, half = fit_line(x, y).predict(8.0, 0.9)
        held += abs(1.7 + rng.normal(0, 0.05) - centre) <= half
    assert held / 4000 == pytest.approx(0.9, abs=4 * math.sqrt(0.09 / 4000))


# ---- fleet ----
def test_fleet_of_lines_equals_single_fits():
    rng = np.random.default_rng(5)
    sizes = rng.integers(3, 12, 400)
    group = rng.permutation(np.repeat(1000 + np.arange(400) * 3, sizes))
    x = 739_000 + rng.uniform(0, 4000, len(group))
    y = rng.normal(0, 0.1, len(group)) + 0.0003 * (x - 739_000)
    fleet = fit_lines(group, x, y)
    assert fleet.refused.size == 0
    band = fleet.lines.predict(np.full(400, 744_000.0))
    for i, name in enumerate(fleet.groups):
        one = fit_line(x[group == name], y[group == name])
        for field, value in vars(one).items():
            assert getattr(fleet.lines, field)[i] == pytest.approx(value, rel=1e-12), field
        assert fleet.lines.se_slope[i] == pytest.approx(one.se_slope, rel=1e-12)
        assert band.half_width[i] == pytest.approx(one.predict(744_000.0).half_width, rel=1e-12)


def test_fleet_names_the_groups_without_a_line():
    group = [7, 7, 7, 8, 8, 9, 9, 9]
    x = [0.0, 1, 2, 0, 1, 4, 4, 4]
    fleet = fit_lines(group, x, [0.0, 0.1, 0.3, 0, 1, 1, 2, 3])
    assert fleet.groups.tolist() == [7]
    assert fleet.refused.tolist() == [8, 9]
    assert np.isfinite(fleet.lines.se_slope).all()


def test_fleet_with_a_reading_that_is_not_a_number_is_refused():
    with pytest.raises(CannotFit, match="reading 2"):
        fit_lines([1, 1, 1], [0, math.nan, 2], [0, 0, 0])
    with pytest.raises(CannotFit, match="group"):
        fit_lines([1, 1], [0, 1, 2], [0, 0, 0])


# ---- crossing ----
def test_line_meets_the_tolerance_where_it_must():
    met = crossing(STEADY, 0.5, after=3.0, horizon=10.0)
    assert met.line == pytest.approx(5.0)
    assert (met.already_out, met.band_already_out) == (False, False)


def test_last_as_left_shifts_the_crossing():
    assert crossing(STEADY, 0.5, after=3.0, horizon=10.0, offset=-0.3).line == pytest.approx(8.0)


def test_what_was_out_before_the_last_visit_is_no_crossing():
    falling = fit_line([0.0, 1.0, 2.0, 3.0], [0.7, 0.5, 0.3, 0.1])  # out until 1.5
    met = crossing(falling, 0.4, after=3.0, horizon=10.0)
    assert met.line == pytest.approx(5.5)
    assert met.band == pytest.approx(5.5)


def test_falling_drift_meets_the_lower_limit():
    falling = fit_line([0.0, 1.0, 2.0, 3.0], [0.3, 0.2, 0.1, 0.0])
    assert crossing(falling, 0.5, after=3.0, horizon=10.0).line == pytest.approx(8.0)


def test_beyond_the_horizon_no_date_is_invented():
    met = crossing(STEADY, 0.5, after=3.0, horizon=1.9)
    assert (met.line, met.band) == (None, None)


def test_transmitter_that_does_not_drift_meets_nothing():
    still = fit_line([0.0, 1.0, 2.0, 3.0], [0.1, 0.1, 0.1, 0.1])
    assert crossing(still, 0.5, after=3.0, horizon=1000.0).line is None


def test_already_out_is_told_with_the_last_visit():
    met = crossing(STEADY, 0.2, after=3.0, horizon=10.0)
    assert (met.line, met.band) == (3.0, 3.0)
    assert (met.already_out, met.band_already_out) == (True, True)


def test_band_may_be_out_while_the_line_is_in():
    met = crossing(SCATTERED, 0.42, after=4.0, horizon=10.0)
    assert (met.already_out, met.band_already_out) == (False, True)
    assert met.line > met.band == 4.0


@given(
    slope=st.floats(-0.3, 0.3),
    start=st.floats(-1.5, 1.5),
    scatter=st.floats(0.0, 0.1),
    confidence=st.sampled_from([0.5, 0.8, 0.95, 0.99]),
)
def test_band_crossing_is_the_first_root_of_the_distance(slope, start, scatter, confidence):
    """Referee: a search on a fine grid with a root finder."""
    x = np.arange(6.0)
    fit = fit_line(x, start + slope * x + scatter * np.array([1, -1, 0.5, -0.5, 1, -1]))

    def beyond(at):
        centre, half = fit.predict(at, confidence)
        return abs(centre) + half - 0.5

    met = crossing(fit, 0.5, after=5.0, horizon=20.0, confidence=confidence)
    grid = np.linspace(5.0, 25.0, 401)
    if beyond(5.0) > 0:
        assert (met.band, met.band_already_out) == (5.0, True)
        return
    over = np.flatnonzero(beyond(grid) > 0)
    if over.size == 0:
        assert met.band is None or abs(beyond(met.band)) < 1e-12
    else:
        assert met.band == pytest.approx(brentq(beyond, grid[over[0] - 1], grid[over[0]]), rel=1e-9)


@pytest.mark.parametrize(
    "asked",
    [
        {"tolerance": 0, "after": 3, "horizon": 10},
        {"tolerance": 0.5, "after": 3, "horizon": math.nan},
        {"tolerance": 0.5, "after": math.nan, "horizon": 10},
    ],
)
def test_crossing_of_nothing_is_refused(asked):
    with pytest.raises(CannotFit):
        crossing(STEADY, **asked)
