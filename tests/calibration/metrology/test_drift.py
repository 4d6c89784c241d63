import math

import numpy as np
import pytest

from calibration.metrology.drift import CannotFit, through_origin


@pytest.mark.parametrize(
    ("x", "y", "argument", "reason"),
    [
        ([1.0], [0.1], "x", "1 increments; a rate with its scatter needs 2"),
        ([], [], "x", "0 increments"),
        ([0.0, 0.0], [0.1, 0.2], "x", "no time passes"),
        ([1.0, math.nan, 2.0], [0.1, 0.2, 0.3], "x", "reading 2 is not a number"),
        ([1.0, 1.0, 2.0], [0.1, 0.2, math.inf], "y", "reading 3 is not a number"),
        ([1.0, 1.0, 2.0], [0.1, 0.2], "x, y", "one value a reading"),
        ([[1.0, 1.0]], [[0.1, 0.2]], "x, y", "one value a reading"),
    ],
)
def test_increments_that_give_no_rate_are_refused(x, y, argument, reason):
    with pytest.raises(CannotFit, match=reason) as refusal:
        through_origin(x, y)
    assert refusal.value.argument == argument


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_confidence_outside_0_to_1_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence"):
        through_origin([1.0, 2.0], [0.1, 0.3]).slope_interval(confidence)


def test_increments_that_agree_leave_no_scatter():
    line = through_origin([0.5, 1.0, 2.0], [0.05, 0.10, 0.20])
    assert line.slope == pytest.approx(0.1)
    assert line.slope_interval() == pytest.approx((0.1, 0.1), abs=1e-12)


def test_interval_holds_the_rate_as_often_as_it_says():
    rng = np.random.default_rng(11)
    x = np.array([0.5, 1.0, 1.0, 2.0, 1.5])
    inside = 0
    for _ in range(2000):
        low, high = through_origin(x, 0.2 * x + rng.normal(0, 0.05, 5)).slope_interval(0.9)
        inside += low <= 0.2 <= high
    assert inside / 2000 == pytest.approx(0.9, abs=4 * math.sqrt(0.09 / 2000))
