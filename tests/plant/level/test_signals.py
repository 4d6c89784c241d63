import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.metrology.errors import percent_errors
from plant.level.signals import (
    FOUR_TO_TWENTY,
    ONE_TO_FIVE,
    SIGNALS,
    FaultBand,
    ZeroSpan,
    band_of,
    bands_of,
    expected_at,
    fault_bands,
    percent_at,
    signal_at,
    value_at,
)

levels = st.floats(-100, 100, allow_subnormal=False)
signals = st.sampled_from(list(SIGNALS.values()))


@st.composite
def ranges(draw):
    lower = draw(levels)
    span = draw(st.floats(0.05, 100)) * draw(st.sampled_from([1, -1]))
    return {"lower": lower, "upper": lower + span}


@given(value=levels, ends=ranges(), signal=signals)
def test_value_is_recovered_from_its_signal(value, ends, signal):
    observed = signal_at(value, **ends, signal=signal)
    assert value_at(observed, **ends, signal=signal) == pytest.approx(value, abs=1e-9)


@given(values=st.tuples(levels, levels), ends=ranges(), signal=signals)
def test_signal_rises_with_the_level_and_falls_in_reverse_action(values, ends, signal):
    low, high = (signal_at(value, **ends, signal=signal) for value in sorted(values))
    if ends["lower"] > ends["upper"]:
        low, high = high, low
    assert low <= high


@given(value=levels, ends=ranges(), signal=signals)
def test_error_of_a_perfect_reading_is_zero(value, ends, signal):
    perfect = signal_at(value, **ends, signal=signal)
    assert percent_errors(perfect, perfect, signal_span=signal.span) == 0


@pytest.mark.parametrize("signal", SIGNALS.values(), ids=str)
def test_ends_of_the_range_show_the_ends_of_the_signal(signal):
    assert signal_at(0.3, lower=0.3, upper=8.3, signal=signal) == signal.low
    assert signal_at(8.3, lower=0.3, upper=8.3, signal=signal) == pytest.approx(signal.high)


def test_shapes_broadcast_and_a_single_value_stays_a_float():
    table = signal_at(
        np.array([[0.0], [4.0]]), lower=np.array([0.0, 4.0]), upper=np.array([8.0, 0.0])
    )
    assert table.tolist() == [[4.0, 20.0], [12.0, 4.0]]
    assert type(signal_at(4.0, lower=0, upper=8)) is float
    assert type(percent_at(4.0, lower=0, upper=8)) is float
    assert type(value_at(12.0, lower=0, upper=8)) is float


def test_value_beyond_the_range_is_not_clamped():
    assert percent_at(-0.2, lower=0.0, upper=8.0) == -2.5
    assert signal_at(8.4, lower=0.0, upper=8.0) == pytest.approx(20.8)
    assert value_at(3.6, lower=0.0, upper=8.0) == pytest.approx(-0.2)


@pytest.mark.parametrize("turn", [percent_at, signal_at, value_at])
def test_equal_range_values_are_refused(turn):
    with pytest.raises(ZeroSpan, match="LRV and URV are equal"):
        turn(1.0, lower=2.0, upper=2.0)
    with pytest.raises(ZeroSpan):
        turn(1.0, lower=np.array([0.0, 2.0]), upper=np.array([8.0, 2.0]))


@pytest.mark.parametrize(
    ("edge", "at", "below", "above"),
    [
        (3.6, FaultBand.FAILURE_LOW, FaultBand.FAILURE_LOW, FaultBand.SUSPECT_LOW),
        (3.8, FaultBand.UNDER_RANGE, FaultBand.SUSPECT_LOW, FaultBand.UNDER_RANGE),
        (4.0, FaultBand.MEASURING, FaultBand.UNDER_RANGE, FaultBand.MEASURING),
        (20.0, FaultBand.MEASURING, FaultBand.MEASURING, FaultBand.OVER_RANGE),
        (20.5, FaultBand.OVER_RANGE, FaultBand.OVER_RANGE, FaultBand.SUSPECT_HIGH),
        (21.0, FaultBand.FAILURE_HIGH, FaultBand.SUSPECT_HIGH, FaultBand.FAILURE_HIGH),
    ],
)
def test_band_changes_exactly_at_its_edge(edge, at, below, above):
    assert band_of(edge, FOUR_TO_TWENTY) is at
    assert band_of(math.nextafter(edge, 0), FOUR_TO_TWENTY) is below
    assert band_of(math.nextafter(edge, 99), FOUR_TO_TWENTY) is above


def test_only_the_outermost_bands_report_a_failure():
    assert [band for band in FaultBand if band.is_failure] == [
        FaultBand.FAILURE_LOW,
        FaultBand.FAILURE_HIGH,
    ]


@given(current=st.floats(0, 25))
def test_voltage_across_250_ohm_has_the_band_of_its_current(current):
    # A multiple of 1/1024 mA has an exact float across 250 ohm, so no edge is crossed by rounding.
    current = round(current * 1024) / 1024
    assert band_of(current * 0.25, ONE_TO_FIVE) is band_of(current, FOUR_TO_TWENTY)


@pytest.mark.parametrize(
    ("volts", "band"),
    [(0.9, FaultBand.FAILURE_LOW), (0.95, FaultBand.UNDER_RANGE), (5.25, FaultBand.FAILURE_HIGH)],
)
def test_edges_of_the_bands_hold_in_volts(volts, band):
    assert band_of(volts, ONE_TO_FIVE) is band


@pytest.mark.parametrize("key", ["0-20mA", "0-10V"])
def test_signal_without_live_zero_shows_no_failure(key):
    assert bands_of([0.0, 5.0, 25.0], SIGNALS[key]).tolist() == [FaultBand.MEASURING] * 3


def test_reading_not_taken_has_no_band():
    with pytest.raises(ValueError, match="not a number"):
        fault_bands([12.0, math.nan])


@given(value=levels, ends=ranges(), signal=signals, seen=st.floats(-1, 25))
def test_what_is_expected_is_on_the_line_or_where_an_output_may_rest(value, ends, signal, seen):
    line = signal_at(value, **ends, signal=signal)
    expected = expected_at(value, seen, **ends, signal=signal)
    least = max(signal.low - signal.span / 80, 0.0)
    most = signal.high + signal.span / 32
    if line < least:
        assert least <= expected <= signal.low
        assert not least <= seen <= signal.low or expected == seen
    elif line > most:
        assert signal.high <= expected <= most
        assert not signal.high <= seen <= most or expected == seen
    else:
        assert expected == line


def test_a_tank_far_below_the_range_is_no_error():
    probe = {"lower": 10.2, "upper": 11.6}
    assert [expected_at(3.5, seen, **probe) for seen in (3.8, 3.95, 4.0)] == [3.8, 3.95, 4.0]
    assert expected_at(3.5, 3.7, **probe) == pytest.approx(3.8)
    assert expected_at(3.5, **probe) == 4.0
