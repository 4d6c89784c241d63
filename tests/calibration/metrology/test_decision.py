import math

import pytest

from calibration.metrology.decision import Verdict, accept_simply, within_tolerance, worst
from calibration.metrology.errors import percent_errors


def test_error_within_the_tolerance_passes_and_beyond_fails():
    assert accept_simply([0.0, 0.5, -0.5, 0.501, -0.501], 0.5) == [
        Verdict.PASS,
        Verdict.PASS,
        Verdict.PASS,
        Verdict.FAIL,
        Verdict.FAIL,
    ]


def test_error_of_exactly_the_tolerance_passes_whatever_its_float():
    """4.048 − 4 mA is 0.3 % of span on paper; as floats it comes out above."""
    error = percent_errors(4.048, 4.0, signal_span=16.0)
    assert error > 0.3
    assert within_tolerance(error, 0.3)


def test_a_tolerance_may_be_given_for_each_reading():
    assert within_tolerance([0.3, 0.3], [0.25, 0.5]).tolist() == [False, True]


@pytest.mark.parametrize("tolerance", [0, -0.5, math.nan])
def test_tolerance_not_above_zero_is_refused(tolerance):
    with pytest.raises(ValueError, match="tolerance"):
        accept_simply([0.1], tolerance)


@pytest.mark.parametrize("error", [math.nan, math.inf])
def test_error_that_is_not_a_number_is_refused(error):
    with pytest.raises(ValueError, match="errors: not a number"):
        accept_simply([0.1, error], 0.5)


@pytest.mark.parametrize(
    ("verdicts", "whole"),
    [
        (["pass", "pass"], Verdict.PASS),
        (["pass", "inconclusive"], Verdict.INCONCLUSIVE),
        (["inconclusive", "fail", "pass"], Verdict.FAIL),
        ([Verdict.FAIL], Verdict.FAIL),
    ],
)
def test_worst_verdict_is_that_of_the_whole(verdicts, whole):
    assert worst(verdicts) is whole


def test_nothing_tested_is_no_pass():
    with pytest.raises(ValueError, match="nothing tested"):
        worst([])


def test_unknown_verdict_is_refused():
    with pytest.raises(ValueError, match="maybe"):
        worst(["pass", "maybe"])
