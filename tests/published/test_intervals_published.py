"""The staircase and where it stands still: INT-06."""

import pytest
from scipy.optimize import brentq

from calibration.metrology.staircase import staircase, staircase_target
from tests.published.reference import near, reference


def test_staircase_stands_still_at_the_target_int_06():
    inputs, expected = reference("INT-06")
    for (longer, target), shorter in zip(inputs["cases"], expected["b"], strict=True):
        assert staircase_target(longer, shorter) == pytest.approx(target, rel=1e-9)
        ours = brentq(
            lambda b, a=longer, r=target: staircase_target(a, b) - r, 0.01, 0.99, xtol=1e-14
        )
        assert ours == near("INT-06", shorter)


def test_staircase_after_in_in_out_int_06():
    _, expected = reference("INT-06")
    months = 12.0
    for inside in (True, True, False):
        months = staircase(months, inside, longer=0.1, shorter=0.55)
    assert months == near("INT-06", expected["after_in_in_out_from_12_months_a_0_1_b_0_55"])
