"""Figures of a test against TRM-01 and TRM-04."""

import numpy as np

from calibration.metrology.errors import figures, percent_errors
from plant.level.signals import signal_at
from tests.published.reference import near, reference


def readings_of_trm_01():
    inputs, expected = reference("TRM-01")
    rows = [
        (point, observed, rising, run)
        for rising, cycles in ((True, inputs["up_mA"]), (False, inputs["down_mA"]))
        for run, cycle in enumerate(cycles, 1)
        for point, observed in zip(inputs["points_pct"], cycle, strict=True)
        if observed is not None
    ]
    point, observed, rising, run = (np.array(column) for column in zip(*rows, strict=True))
    errors = percent_errors(observed, signal_at(point, lower=0, upper=100), signal_span=16.0)
    return point, errors, rising, run, expected


def test_errors_in_per_cent_of_span_trm_01():
    _, errors, rising, _, expected = readings_of_trm_01()
    up = [e for cycle in expected["up_errors_pct_span"] for e in cycle]
    down = [e for cycle in expected["down_errors_pct_span"] for e in cycle if e is not None]
    assert errors[rising] == near("TRM-01", up)
    assert errors[~rising] == near("TRM-01", down)


def test_measured_accuracy_and_errors_at_the_ends_trm_01():
    *readings, expected = readings_of_trm_01()
    shown = figures(*readings)
    assert [shown.lowest, shown.highest] == near("TRM-01", expected["measured_accuracy_pct_span"])
    assert shown.largest == near("TRM-01", expected["measured_accuracy_pct_span"][1])
    assert shown.at_zero == near("TRM-01", expected["mean"][0], digits=8)
    assert shown.at_span == near("TRM-01", expected["mean"][-1], digits=8)
    assert shown.n == 27


def test_hysteresis_within_a_run_and_between_means_trm_01():
    *readings, expected = readings_of_trm_01()
    shown = figures(*readings)
    assert shown.hysteresis == near("TRM-01", expected["hysteresis_largest_single_cycle"])
    assert shown.hysteresis_of_means == near("TRM-01", expected["hysteresis_of_means"], digits=8)


def test_zero_and_span_error_of_a_straight_transmitter_trm_04():
    inputs, expected = reference("TRM-04")
    errors = percent_errors(inputs["observed_mA"], inputs["ideal_mA"], signal_span=16.0)
    assert errors == near("TRM-04", expected["error_pct_span"])
    shown = figures([0, 25, 50, 75, 100], errors, [True] * 5, [1] * 5)
    assert shown.at_zero == near("TRM-04", expected["zero_error_pct_span"])
    assert shown.at_span - shown.at_zero == near("TRM-04", expected["span_error_pct_span"])
    span_error = shown.at_span - shown.at_zero
    assert 1 + span_error / 100 == near("TRM-04", expected["gain"])
    straight = shown.at_zero + span_error * np.linspace(0, 1, 5)
    after_both = figures([0, 25, 50, 75, 100], errors - straight, [True] * 5, [1] * 5)
    assert after_both.largest == near("TRM-04", expected["largest_after_perfect_zero_and_span"])
    after_zero_only = figures([0, 25, 50, 75, 100], errors - shown.at_zero, [True] * 5, [1] * 5)
    assert after_zero_only.largest == near("TRM-04", expected["largest_after_zero_only"])
