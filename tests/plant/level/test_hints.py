import math

import numpy as np
import pytest

from plant.level.hints import (
    noise_hints,
    reading_hints,
    stage_hints,
)
from plant.level.probes import Probe, capacitance_at

PERCENT = np.array([0, 25, 50, 75, 100, 75, 50, 25, 0.0])
RISING = np.array([True] * 5 + [False] * 4)
EXPECTED = 4 + 0.16 * PERCENT


def keys(hints):
    return [hint.key for hint in hints]


def seen(percent, **more):
    """Hints for outputs in % of span at the nine points, tolerance 1 %."""
    return reading_hints(
        EXPECTED, 4 + 0.16 * np.asarray(percent, dtype=float), tolerance=1.0, rising=RISING, **more
    )


def test_a_good_test_has_no_hint():
    assert seen(PERCENT + 0.4) == ()


@pytest.mark.parametrize(
    ("shown", "pattern"),
    [
        (np.full(9, 37.0), ["P1"]),
        (100 - PERCENT, ["P2"]),
        (np.minimum(PERCENT, 60.0), ["P4"]),
        (PERCENT + 0.8, ["P5"]),
        (PERCENT * 1.039, ["P6"]),
        (PERCENT * 0.75, ["P7", "P6"]),
        (PERCENT + np.where(RISING, 0, 0.9) * (PERCENT > 0), ["P8"]),
        (2.0 + PERCENT * 1.01, ["P5", "P6"]),
        (0.6 + PERCENT * 1.03, ["P6", "P5"]),
    ],
)
def test_pattern_is_recognised_from_nine_points(shown, pattern):
    assert keys(seen(shown)) == pattern


def test_every_check_is_worded_as_a_check():
    shown = [np.full(9, 37.0), 100 - PERCENT, PERCENT + 2, PERCENT * 0.7, np.minimum(PERCENT, 60)]
    for hint in [h for s in shown for h in seen(s)]:
        assert hint.checks
        assert all(check.startswith("check ") for check in hint.checks)


def test_flat_top_names_its_current():
    assert "13.60 mA" in seen(np.minimum(PERCENT, 60.0))[0].pattern


def test_alarm_current_is_a_failure_and_no_error():
    low = reading_hints([4, 12, 20], [3.5, 3.5, 3.5], tolerance=1.0)
    assert keys(low) == ["P3"]
    assert "cable for a break" in " ".join(low[0].checks)
    high = reading_hints([4, 12, 20], [21.5, 22.0, 21.5], tolerance=1.0)
    assert "water" in " ".join(high[0].checks)


def test_alarm_on_one_reading_leaves_the_rest_to_speak():
    shown = reading_hints([4, 8, 12, 16, 20], [4.2, 8.2, 12.2, 16.2, 22.0], tolerance=1.0)
    assert keys(shown) == ["P3", "P5"]


def test_lost_tank_reference_of_a_real_probe_is_recognised():
    """Calibrated with its reference, read through 500 pF of stray capacitance."""
    rod = Probe(0.016, 2.0, 8.0)
    whole = capacitance_at(rod, 8 * PERCENT / 100, 3.05)
    lost = whole * 500.0 / (whole + 500.0)
    shown = 100 * (lost - whole[0]) / (whole[4] - whole[0])
    hints = seen(np.maximum(shown, -1.0), principle="capacitance rod")
    assert hints[0].key == "P7"
    assert "reference" in hints[0].checks[0]


def test_span_shrunk_on_a_radar_is_no_lost_reference():
    assert keys(seen(PERCENT * 0.75, principle="radar")) == ["P6"]


def test_checks_are_those_of_the_principle():
    def of(principle):
        return " ".join(seen(np.full(9, 37.0), principle=principle)[0].checks)

    assert "echo" in of("radar")
    assert "echo" not in of("float")
    assert "stuck" in of("float")
    assert "impulse valve" in of("hydrostatic")


@pytest.mark.parametrize(
    ("principle", "is_offered"), [("hydrostatic", True), ("displacer", True), ("radar", False)]
)
def test_the_density_is_checked_where_it_enters_the_reading(principle, is_offered):
    [hint] = [hint for hint in seen(PERCENT * 1.03, principle=principle) if hint.key == "P6"]
    assert ("check the entered density against today's" in hint.checks) is is_offered


def test_one_point_shows_an_offset_and_nothing_of_the_span():
    assert keys(reading_hints([12.0], [12.3], tolerance=1.0)) == ["P5"]


def test_noise_and_jumps_at_a_steady_level():
    assert noise_hints([12.001, 12.003, 12.002]) == ()
    jumping = noise_hints([12.0, 12.5, 12.001, 12.499, 12.0], principle="radar")
    assert keys(jumping) == ["P9"]
    assert "two values" in jumping[0].pattern
    assert "noise" in noise_hints([12.0, 12.02, 12.05, 12.08, 12.1])[0].pattern


def test_simulated_and_wetted_readings_separate_the_stages():
    primary = stage_hints(0.05, 0.9, tolerance=1.0)
    output = stage_hints(0.9, 1.0, tolerance=1.0)
    assert keys(primary) == keys(output) == ["P10"]
    assert "primary element" in primary[0].checks[0]
    assert "output stage" in output[0].checks[0]
    assert stage_hints(0.1, -0.1, tolerance=1.0) == ()
    assert stage_hints(0.9, -0.9, tolerance=1.0) == ()


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: reading_hints([], [], tolerance=1.0), "each reading"),
        (lambda: reading_hints([4, 8], [4], tolerance=1.0), "each reading"),
        (lambda: reading_hints([4], [math.nan], tolerance=1.0), "not a number"),
        (lambda: reading_hints([4], [4], tolerance=0), "tolerance"),
        (lambda: noise_hints([12.0, 12.1]), "readings"),
        (lambda: noise_hints([12.0, 12.1, 12.0], spread=0), "spread"),
        (lambda: stage_hints(math.nan, 0, tolerance=1), "simulated_error"),
    ],
)
def test_what_shows_no_pattern_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()
