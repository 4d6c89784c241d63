"""The limits of an error: unequal and one-sided ones, and what they take for a tolerance."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.level.checks import BadArgument
from plant.level.tolerance import AT_LEAST, AT_MOST, BOTH, WHOLE_SPAN, Limits

SIZES = st.floats(0.001, 50)
LIMITS = st.one_of(
    st.builds(Limits.of, SIZES),
    st.builds(Limits.of, SIZES, SIZES),
    st.builds(Limits.of, SIZES, sides=st.sampled_from([AT_MOST, AT_LEAST])),
)


@given(LIMITS, st.floats(-100, 100))
def test_an_error_is_within_where_the_shifted_one_is_within_half(limits, error):
    slack = 1e-9
    inside = -limits.down - slack <= error <= limits.up + slack
    near_an_edge = min(abs(error - limits.up), abs(error + limits.down)) < 2 * slack
    assert limits.holds(error) == inside or near_an_edge
    assert limits.off_centre(error) == pytest.approx(error - (limits.up - limits.down) / 2)


@given(LIMITS, SIZES)
def test_limits_keep_their_shape_in_another_unit(limits, size):
    scaled = limits.scaled_to(size)
    assert scaled.size == pytest.approx(size)
    assert scaled.sides == limits.sides
    if not limits.is_one_sided:
        assert scaled.up / scaled.down == pytest.approx(limits.up / limits.down)


@given(SIZES)
def test_an_equal_tolerance_has_its_centre_at_zero_to_the_last_digit(size):
    limits = Limits.of(size).scaled_to(size / 3)
    assert (limits.centre, limits.half, limits.size) == (0.0, size / 3, size / 3)


def test_the_open_side_of_a_one_sided_tolerance_lies_a_whole_span_away():
    above, below = Limits.of(0.5, sides=AT_MOST), Limits.of(0.5, sides=AT_LEAST)
    assert (above.down, above.up, above.edges, above.size) == (WHOLE_SPAN, 0.5, (0.5,), 0.5)
    assert (below.down, below.up, below.edges, below.size) == (0.5, WHOLE_SPAN, (-0.5,), 0.5)
    assert above.frame == below.frame == (-0.5, 0.5)


@pytest.mark.parametrize(
    ("limits", "furthest"),
    [
        (Limits.of(1.0), -0.9),
        (Limits.of(0.5, 1.0), 0.8),
        (Limits.of(1.0, 0.5), -0.9),
        (Limits.of(1.0, sides=AT_MOST), 0.8),
        (Limits.of(1.0, sides=AT_LEAST), -0.9),
    ],
)
def test_the_furthest_error_is_that_beyond_its_own_limit(limits, furthest):
    assert limits.furthest([-0.9, 0.1, 0.8]) == furthest


@pytest.mark.parametrize(
    "arguments",
    [
        (0,),
        (-1,),
        (float("nan"),),
        (float("inf"),),
        (1, 0),
        (1, -2),
        (1, None, "up"),
        (1, 2, AT_MOST),
    ],
)
def test_what_limits_nothing_is_refused_by_name(arguments):
    with pytest.raises(BadArgument, match=r"tolerance|sides"):
        Limits.of(*arguments)


def test_both_sides_are_limited_where_nothing_else_is_said():
    assert Limits.of(2) == Limits(2.0, 2.0, BOTH)
