"""What the hints say to the digit, and where one pattern ends and the next begins."""

from __future__ import annotations

import numpy as np
import pytest

from plant.level.hints import noise_hints, reading_hints, stage_hints


def patterns(percent, shown, **more) -> dict[str, str]:
    """Key and words of the hints for outputs in % of span, tolerance 1 %."""
    expected, seen = (4 + 0.16 * np.asarray(x, dtype=float) for x in (percent, shown))
    return {h.key: h.pattern for h in reading_hints(expected, seen, tolerance=1.0, **more)}


def test_an_offset_at_one_height_is_the_mean_of_the_errors():
    words = patterns([50, 50, 50], [51.0, 52.0, 54.5])
    assert words == {"P5": "the same offset everywhere, +2.50 % of span"}


def test_offset_and_growth_are_told_by_their_size():
    words = patterns([0, 50, 100], [-1.0, 50.5, 102.0])
    assert words["P5"] == "the same offset everywhere, -1.00 % of span"
    assert words["P6"].startswith("an error that grows in proportion, +3.00 % of the reading")


def test_hysteresis_is_falling_less_rising():
    rising = np.array([True, True, True, False, False])
    words = patterns([0, 50, 100, 50, 0], [0, 49.8, 100, 51.0, 0], rising=rising)
    assert words["P8"] == "falling differs from rising by +1.20 % of span"


def test_an_output_that_does_not_follow_says_how_far_it_moved():
    words = patterns([0, 50, 100], [40.0, 40.5, 41.0])
    assert words == {"P1": "applied 100 % of span, the output moved 1.0 %"}


def test_an_output_that_neither_falls_nor_rises_is_not_called_falling():
    assert "P2" not in patterns([0, 50, 100], [50, 0, 50])


def test_two_readings_at_the_top_with_one_below_tell_no_ceiling():
    assert "P4" not in patterns([0, 50, 100], [0, 60, 60])


def test_a_ceiling_needs_the_readings_below_it_to_be_right():
    assert "P4" in patterns([0, 25, 50, 75, 100], [0, 25, 50, 60, 60])
    assert "P4" not in patterns([0, 25, 50, 75, 100], [0, 28, 50, 60, 60])


def test_the_share_of_a_shrunken_span_is_said():
    words = patterns([0, 50, 100], [0, 37.5, 75], principle="capacitance rod")
    assert words["P7"].startswith("span shrunk to 75 % of itself")
    assert words["P6"] == "an error that grows in proportion, -25.00 % of the reading"


def test_failure_currents_are_counted_and_one_is_named():
    low = reading_hints([4, 12, 20], [3.5, 3.4, 20.0], tolerance=1.0)
    assert low[0].pattern.startswith("2 of the readings in the low failure band")
    assert "3.50 mA" in low[0].pattern


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([12.0, 12.0051, 12.0], "0.005 mA apart"),
        ([12.0, 12.5, 12.1, 12.4], "jumps between two values, 0.500"),
        ([12.0, 12.5, 12.11, 12.4], "noise, 0.500"),
    ],
)
def test_noise_is_told_from_jumps_by_a_fifth_of_the_spread(readings, words):
    assert words in noise_hints(readings)[0].pattern


def test_three_readings_are_enough_to_tell_noise():
    with pytest.raises(ValueError, match="readings"):
        noise_hints([12.0, 12.1])
    assert noise_hints([12.0, 12.05, 12.1])


@pytest.mark.parametrize(
    ("simulated", "wetted", "named"),
    [
        (0.5, 0.5, []),
        (0.5, 0.51, ["right on simulated output"]),
        (-0.5, 0.9, ["right on simulated output"]),
        (0.6, 1.0, ["wrong by the same"]),
        (1.0, 0.51, ["wrong by the same"]),
        (0.6, 1.2, []),
        (0.6, 0.2, ["wrong by the same"]),
    ],
)
def test_the_stage_that_is_wrong_is_told_from_half_the_tolerance(simulated, wetted, named):
    hints = stage_hints(simulated, wetted, tolerance=1.0)
    assert [words for words in named if hints[0].pattern.startswith(words)] == named
    assert len(hints) == len(named)


@pytest.mark.parametrize("tolerance", [0.0, -1.0])
def test_a_stage_is_not_judged_without_a_tolerance(tolerance):
    with pytest.raises(ValueError, match="tolerance"):
        stage_hints(0.1, 0.9, tolerance=tolerance)
