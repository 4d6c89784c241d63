"""The line through two levels, worked by hand: range 0 to 10 m, 4 to 20 mA."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.metrology.two_levels import THIRD_APART, two_levels

LINE = two_levels([2.0, 7.0], [7.2, 15.4], lower=0.0, upper=10.0)


def test_the_line_goes_through_both_levels_and_on_to_the_ends():
    assert [LINE.output_at(level) for level in (2.0, 7.0)] == pytest.approx([7.2, 15.4])
    assert LINE.slope == pytest.approx(1.64)
    assert (LINE.zero, LINE.span_end) == pytest.approx((3.92, 20.32))
    assert (LINE.zero_error, LINE.span_end_error) == pytest.approx((-0.5, 2.0))


def test_the_levels_are_apart_by_a_share_of_the_span():
    assert LINE.apart == pytest.approx(0.5)
    assert two_levels([7.0, 2.0], [15.4, 7.2], lower=10.0, upper=0.0).apart == pytest.approx(0.5)


def test_an_error_of_the_levels_grows_towards_the_ends():
    assert LINE.gain_at(2.0) == pytest.approx(1.0)
    assert LINE.gain_at(4.5) == pytest.approx(np.hypot(0.5, 0.5))
    assert LINE.gain_at_zero == pytest.approx(np.hypot(1.4, 0.4))
    assert LINE.gain_at_span_end == pytest.approx(np.hypot(0.6, 1.6))


def test_a_third_reading_lies_off_the_line_in_per_cent_of_span():
    assert LINE.deviation_at(4.5, 11.3 + 0.16) == pytest.approx(1.0)
    assert LINE.deviation_at(4.5, 11.3 - 0.08) == pytest.approx(-0.5)


@pytest.mark.parametrize(
    ("level", "checks"),
    [
        (4.5, True),
        (2.0 + 10 * THIRD_APART, True),
        (2.0 + 9.9 * THIRD_APART, False),
        (7.0 - 10 * THIRD_APART, True),
        (10.0, True),
        (10.1, False),
        (0.0, True),
        (-0.1, False),
    ],
)
def test_a_third_level_lies_in_the_range_and_away_from_both(level, checks):
    assert LINE.is_check_level(level) == checks


def test_outputs_are_set_so_that_both_ends_come_right():
    assert [LINE.after_adjusting(o) for o in (3.92, 20.32)] == pytest.approx([4.0, 20.0])
    assert LINE.after_adjusting(12.12) == pytest.approx(12.0)


@pytest.mark.parametrize(
    ("level", "checks"),
    [
        (2.0, True),
        (10.0, True),
        (5.0, True),
        (1.9, False),
        (10.1, False),
        (6.7, True),
        (7.3, False),
    ],
)
@pytest.mark.parametrize("ends", [(2.0, 10.0), (10.0, 2.0)], ids=["direct", "reverse"])
def test_a_range_that_begins_above_the_datum_is_as_wide_as_its_ends_are_apart(ends, level, checks):
    """A tenth of the 8 m of the range must lie between a third level and the two, 3.5 and 7.5 m."""
    lower, upper = ends
    line = two_levels([3.5, 7.5], [7.2, 15.4], lower=lower, upper=upper)
    assert line.is_check_level(level) == checks
