"""The corners of the nonparametric curve, as the picture draws them."""

from __future__ import annotations

import numpy as np

from calibration.metrology.survival import NonparametricCurve

CURVE = NonparametricCurve(
    lower=np.array([1.0, 2.0]), upper=np.array([1.5, 3.0]), mass=np.array([0.25, 0.5]),
    log_likelihood=0.0,
)  # fmt: skip


def test_the_curve_is_level_between_falls_and_slopes_within_one():
    falls = [(1.0, 1.0), (1.5, 0.75), (2.0, 0.75), (3.0, 0.25)]
    assert CURVE.corners(4.0) == [(0.0, 1.0), *falls, (4.0, 0.25)]


def test_a_fall_that_may_lie_beyond_the_end_is_left_out():
    assert CURVE.corners(2.9) == [(0.0, 1.0), (1.0, 1.0), (1.5, 0.75), (2.9, 0.75)]
    assert CURVE.corners(3.0)[-2:] == [(3.0, 0.25), (3.0, 0.25)]
