import math

import numpy as np
import pytest

from calibration.metrology.errors import (
    DeadBand,
    dead_band,
    figures,
    figures_fleet,
    repeatability,
    repeatability_fleet,
)
from calibration.metrology.linearity import (
    full_figures,
    linearity,
    mean_curve,
    mean_curves,
)


def fleet_of_readings(records, seed):
    rng = np.random.default_rng(seed)
    record = np.repeat(np.arange(records), rng.integers(1, 30, records))
    count = len(record)
    point = rng.choice([0.0, 25.0, 50.0, 75.0, 100.0], count)
    errors, rising = rng.normal(0, 0.2, count), rng.random(count) < 0.6
    return record, point, errors, rising, rng.integers(1, 4, count)


def same(one, other):
    return one == pytest.approx(other, rel=1e-12, abs=1e-15, nan_ok=True)


def test_fleet_has_the_figures_of_each_alone():
    columns = fleet_of_readings(60, seed=5)
    order = np.random.default_rng(1).permutation(len(columns[0]))
    record, point, errors, rising, run = (c[order] for c in columns)
    whole = figures_fleet(record, point, errors, rising, run, records=61)
    bent = linearity(*mean_curves(record, point, errors, rising, records=61))
    again = repeatability_fleet(record, point, errors, rising, records=61)
    curves = 0
    for i in range(60):
        alone = full_figures(*(c[columns[0] == i] for c in columns[1:]))
        assert whole.of(i).largest == alone.figures.largest
        for name in vars(alone.linearity):
            assert same(getattr(bent, name)[i], getattr(alone.linearity, name))
        assert same(again[i], math.nan if alone.repeatability is None else alone.repeatability)
        curves += not math.isnan(alone.linearity.terminal_based)
    assert curves > 15
    assert whole.of(60) is None
    assert np.isnan(bent.independent[60])
    assert np.isnan(again[60])


def test_full_figures_hold_the_plain_ones():
    readings = ([0, 50, 100, 50], [0.1, 0.2, 0.1, 0.3], [True, True, True, False], [1] * 4)
    assert full_figures(*readings).figures == figures(*readings)


def test_two_points_show_no_linearity():
    bent = linearity([0, 100], [0.1, 0.4])
    assert all(math.isnan(value) for value in vars(bent).values())


def test_line_through_the_ends_needs_both_ends():
    bent = linearity([20, 50, 80], [0.0, 0.3, 0.0])
    assert math.isnan(bent.terminal_based)
    assert math.isnan(bent.zero_based)
    assert bent.independent == pytest.approx(0.15)
    only_zero = linearity([0, 40, 80], [0.0, 0.3, 0.0])
    assert math.isnan(only_zero.terminal_based)
    assert only_zero.zero_based == pytest.approx(0.2)


def test_order_of_points_does_not_matter_and_missing_points_are_left_out():
    straight = linearity([0, 25, 50, 75, 100], [0.0, 0.2, 0.5, 0.1, 0.0])
    mixed = linearity([50, 100, 25, 60, 0, 75], [0.5, 0.0, 0.2, math.nan, 0.0, 0.1])
    assert mixed == straight


def test_straight_error_has_no_bend_and_gives_back_its_line():
    bent = linearity([0, 50, 100], [0.1, 0.25, 0.4])
    assert [bent.terminal_based, bent.zero_based, bent.independent] == pytest.approx([0, 0, 0])
    assert bent.independent_offset == pytest.approx(0.1)
    assert bent.independent_slope == pytest.approx(0.3)


def test_minimax_line_is_not_least_squares():
    """One high point among many: least squares stays with the many."""
    x, y = np.linspace(0, 100, 11), np.zeros(11)
    y[5] = 1.0
    slope, offset = np.polyfit(x, y, 1)
    assert linearity(x, y).independent == pytest.approx(0.5)
    assert np.abs(y - offset - slope * x).max() > 0.9


def test_curve_without_any_point_is_refused():
    with pytest.raises(ValueError, match="no point"):
        linearity([], [])


def test_point_from_one_side_only_keeps_the_mean_of_that_side():
    points, means = mean_curve([100, 0, 0, 0], [0.3, 0.1, 0.2, 0.4], [True, True, True, False])
    assert points.tolist() == [0, 100]
    assert means == pytest.approx([(0.15 + 0.4) / 2, 0.3])


def test_repeatability_never_mixes_the_sides():
    assert repeatability([50, 50], [0.1, 0.5], [True, False]) is None
    assert repeatability([50, 50, 25], [0.1, 0.5, 9], [True, True, True]) == pytest.approx(0.4)


def test_repeatability_of_a_fleet_is_that_of_the_worst_point():
    shown = repeatability_fleet(
        [0, 0, 0, 0, 1], [0, 0, 50, 50, 0], [0.1, 0.2, 0.1, 0.4, 5.0], [True] * 5, records=2
    )
    assert shown[0] == pytest.approx(0.3)
    assert np.isnan(shown[1])


@pytest.mark.parametrize("start", [0.3, 48.768, 50.0187, 95.1])
@pytest.mark.parametrize(("moved", "at_most"), [(0.01875, 2.0), (0.019, None)])
def test_the_smallest_change_that_counts_is_a_movement(start, moved, at_most):
    output = [start, start + 0.2, start + 0.2, start + 0.2 - 0.01875]
    assert dead_band([50, 52, 51, 50], output, moved=moved).at_most == at_most


def test_dead_band_is_the_widest_of_all_reversals():
    applied = [50, 50.4, 50.3, 50.2, 50.1, 50.2, 50.3]
    output = [50, 50.4, 50.4, 50.4, 50.2, 50.3, 50.4]
    assert dead_band(applied, output, moved=0.05) == DeadBand(0.2, 0.3, 2)


def test_output_that_never_moves_leaves_the_band_open():
    assert dead_band([50, 51, 50, 49], [50, 51, 51, 51], moved=0.1) == DeadBand(2.0, None, 1)


def test_of_reversals_that_never_moved_the_output_the_one_that_went_furthest_counts():
    applied = [50, 51, 50.8, 50.9, 51.2, 51.3]
    assert dead_band(applied, [50, *[51] * 5], moved=0.1) == DeadBand(0.5, None, 2)


def test_the_widest_dead_band_is_where_the_input_went_furthest_without_the_output():
    """Down: still after 0.1, moved at 0.4. Up again: still after 0.2, moved at 0.3."""
    applied = [50, 50.5, 50.4, 50.1, 50.2, 50.3, 50.4]
    output = [50, 50.5, 50.5, 50.2, 50.2, 50.2, 50.3]
    assert dead_band(applied, output, moved=0.05) == DeadBand(0.2, 0.3, 2)


def test_an_output_that_moves_with_the_first_step_has_a_dead_band_from_zero():
    assert dead_band([50, 51, 50.9, 50.8], [50, 51, 50.9, 50.8], moved=0.05) == DeadBand(
        0.0, 0.1, 1
    )


def test_dead_band_needs_a_reversal():
    assert dead_band([0, 25, 50], [0, 25, 50], moved=0.1) is None


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: dead_band([0, 1], [0, math.nan], moved=0.1), "output_percent: not a number"),
        (lambda: dead_band([0, 1, 2], [0, 1], moved=0.1), "output_percent: one output"),
        (lambda: dead_band([0, 1], [0, 1], moved=0), "moved"),
        (lambda: repeatability([0, 1], [0.1, math.nan], [True, True]), "errors"),
        (lambda: full_figures([], [], [], []), "no reading"),
        (lambda: full_figures([0, 1], [0.1], [True], [1]), "one value a reading"),
    ],
)
def test_what_cannot_be_summed_up_is_refused(call, named):
    with pytest.raises(ValueError, match=named):
        call()
