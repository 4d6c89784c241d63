"""Non-linearity and repeatability: TRM-01, TRM-02, and linear programming as a referee."""

import numpy as np
import pytest
from scipy.optimize import linprog

from calibration.metrology.errors import percent_errors, repeatability
from calibration.metrology.linearity import full_figures, linearity, mean_curve
from plant.level.signals import signal_at
from tests.published.reference import near, reference


def readings_of_trm_01(*, reverse=False):
    inputs, expected = reference("TRM-01")
    rows = [
        (point, observed, rising, run)
        for rising, cycles in ((True, inputs["up_mA"]), (False, inputs["down_mA"]))
        for run, cycle in enumerate(cycles, 1)
        for point, observed in zip(inputs["points_pct"], cycle, strict=True)
        if observed is not None
    ]
    point, observed, rising, run = (np.array(column) for column in zip(*rows, strict=True))
    if reverse:
        # The same instrument by ullage: the level falls as its current rises.
        level = 100 - point
        errors = percent_errors(observed, signal_at(level, lower=100, upper=0), signal_span=16.0)
        return point, errors, ~rising, run, expected
    errors = percent_errors(observed, signal_at(point, lower=0, upper=100), signal_span=16.0)
    return point, errors, rising, run, expected


def test_mean_curve_trm_01():
    point, errors, rising, _, expected = readings_of_trm_01()
    points, means = mean_curve(point, errors, rising)
    assert points.tolist() == [0, 25, 50, 75, 100]
    assert means == pytest.approx(expected["mean"], rel=0, abs=6e-10)
    for side, key in ((rising, "mean_up"), (~rising, "mean_down")):
        _, means = mean_curve(point[side], errors[side], rising[side])
        known = [value for value in expected[key] if value is not None]
        assert means == pytest.approx(known, rel=0, abs=6e-10)


@pytest.mark.parametrize("reverse", [False, True])
def test_linearity_and_repeatability_trm_01(reverse):
    *readings, expected = readings_of_trm_01(reverse=reverse)
    shown = full_figures(*readings)
    bent = shown.linearity
    assert bent.terminal_based == near("TRM-01", expected["terminal_based"])
    assert bent.independent == near("TRM-01", expected["independent"])
    assert bent.zero_based == near("TRM-01", expected["zero_based"])
    assert bent.zero_based_slope == near(
        "TRM-01", expected["zero_based_slope_pct_per_full_span"], digits=8
    )
    assert shown.figures.hysteresis_of_means == pytest.approx(
        expected["hysteresis_of_means"], rel=0, abs=6e-10
    )
    assert shown.repeatability == near("TRM-01", expected["repeatability"])
    assert (shown.figures.lowest, shown.figures.highest) == near(
        "TRM-01", tuple(expected["measured_accuracy_pct_span"])
    )
    assert repeatability(*readings[:3]) == shown.repeatability


@pytest.mark.parametrize("key", ["five_points", "eleven_points"])
def test_parabola_trm_02(key):
    inputs, expected = reference("TRM-02")
    x = np.linspace(0, 1, expected[key]["points"])
    bent = linearity(100 * x, 4 * inputs["d_pct"] * x * (1 - x))
    for figure in ("terminal_based", "independent", "zero_based"):
        assert getattr(bent, figure) == near("TRM-02", expected[key][figure])


def test_parabola_of_many_points_nears_the_continuous_figures_trm_02():
    _, expected = reference("TRM-02")
    x = np.linspace(0, 1, 101)
    bent = linearity(100 * x, 4 * x * (1 - x))
    for figure, value in expected["continuous"].items():
        assert getattr(bent, figure) == pytest.approx(value, abs=2e-4)
    for figure in ("terminal_based", "independent"):  # the top of the curve is one of the points
        assert getattr(bent, figure) == near("TRM-02", expected["continuous"][figure])


def least_deviation(x, y, *, through_first):
    """Half-width of the best line by linear programming: minimise t with |y − a − b x| ≤ t."""
    if through_first:
        x, y = x - x[0], y - y[0]
    ones = np.ones_like(x)
    above = np.column_stack((-ones, -x, -ones))
    below = np.column_stack((ones, x, -ones))
    bounds = [(0, 0) if through_first else (None, None), (None, None), (0, None)]
    done = linprog(
        [0, 0, 1], A_ub=np.vstack((above, below)), b_ub=np.concatenate((-y, y)), bounds=bounds
    )
    return done.fun


def test_linear_programming_agrees_on_a_fleet_of_curves():
    rng = np.random.default_rng(8)
    curves = 30
    x = np.sort(rng.uniform(0, 100, (curves, 9)), axis=1)
    x[:, 0], x[:, -1] = 0, 100
    y = rng.normal(0, 0.2, (curves, 9)) + 0.01 * x * rng.normal(0, 1, (curves, 1))
    bent = linearity(x, y)
    for i in range(curves):
        free = least_deviation(x[i], y[i], through_first=False)
        tied = least_deviation(x[i], y[i], through_first=True)
        assert bent.independent[i] == pytest.approx(free, rel=1e-7)
        assert bent.zero_based[i] == pytest.approx(tied, rel=1e-7)
        line = bent.independent_offset[i] + bent.independent_slope[i] * x[i] / 100
        assert np.abs(y[i] - line).max() == pytest.approx(free, rel=1e-7)
