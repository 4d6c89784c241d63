"""Signals against SIG-01 to SIG-03, the 250 ohm pairs and three facts of the trade."""

import numpy as np
import pytest

from calibration.metrology.errors import percent_errors
from plant.level.signals import (
    FOUR_TO_TWENTY,
    OHMS,
    ONE_TO_FIVE,
    FaultBand,
    band_of,
    fault_bands,
    percent_at,
    signal_at,
    value_at,
)
from tests.published.reference import near, reference

NAMES = {
    "failure_low": {FaultBand.FAILURE_LOW},
    "below_range": {FaultBand.UNDER_RANGE},
    "measuring": {FaultBand.MEASURING},
    "over_range": {FaultBand.OVER_RANGE},
    "failure_high": {FaultBand.FAILURE_HIGH},
    "undefined": {FaultBand.SUSPECT_LOW, FaultBand.SUSPECT_HIGH},
}


def test_loop_current_as_per_cent_of_span_sig_01():
    inputs, expected = reference("SIG-01")
    assert percent_at(np.array(inputs["mA"]), lower=4, upper=20) == near(
        "SIG-01", expected["percent"]
    )
    currents = signal_at(np.array(expected["percent"]), lower=0, upper=100)
    assert currents == near("SIG-01", inputs["mA"])


@pytest.mark.parametrize(("current", "name"), reference("SIG-02")[1]["cases"])
def test_current_lies_in_its_band_of_ne_43_sig_02(current, name):
    assert band_of(current, FOUR_TO_TWENTY) in NAMES[name]


def test_many_currents_have_the_bands_of_each_alone_sig_02():
    currents = [case[0] for case in reference("SIG-02")[1]["cases"]]
    assert fault_bands(currents).tolist() == [
        band_of(current, FOUR_TO_TWENTY) for current in currents
    ]


def test_level_from_current_and_back_sig_03():
    inputs, expected = reference("SIG-03")
    ends = {"lower": inputs["LRV_m"], "upper": inputs["URV_m"]}
    currents, levels = np.array(inputs["cases_mA"]), np.array(expected["level_m"])
    assert value_at(currents, **ends) == near("SIG-03", expected["level_m"])
    assert signal_at(levels, **ends) == near("SIG-03", inputs["cases_mA"])
    assert percent_at(levels, **ends) == near("SIG-03", expected["percent"])
    volts = signal_at(levels, **ends, signal=ONE_TO_FIVE)
    assert volts == near("SIG-03", expected["volts_across_250_ohm"])


def test_current_across_250_ohm_is_the_voltage_signal_trd_02():
    inputs, expected = reference("TRD-02")
    levels = value_at(np.array(inputs["mA"]), lower=0, upper=1)
    volts = signal_at(levels, lower=0, upper=1, signal=ONE_TO_FIVE)
    assert volts == near("TRD-02", expected["volts"])


def test_resistor_off_its_value_looks_like_an_error_of_the_transmitter_trd_02():
    inputs, expected = reference("TRD-02")
    for current, error in expected["error_pct_span_of_wrong_ohm"]:
        seen = current * inputs["true_ohm"] / OHMS
        assert percent_errors(seen, current, signal_span=FOUR_TO_TWENTY.span) == near(
            "TRD-02", error, nothing=0
        )


def test_errors_in_an_empty_tank_trd_01():
    inputs, expected = reference("TRD-01")
    correct = signal_at(0.0, lower=0.0, upper=8.0)
    assert correct == 4.0
    errors = percent_errors(inputs["observed_mA"], correct, signal_span=FOUR_TO_TWENTY.span)
    assert errors == near("TRD-01", expected["error_pct_span"])


def test_full_tank_shows_20_ma_and_reverse_action_4_ma():
    """Definition of the range values."""
    assert signal_at(8.0, lower=0.0, upper=8.0) == 20.0
    assert signal_at(8.0, lower=8.0, upper=0.0) == 4.0


def test_wrong_density_shows_as_the_same_error_in_level_and_in_current_trd_07():
    inputs, expected = reference("TRD-07")
    reads = inputs["true_m"] * inputs["now_kg_m3"] / inputs["set_kg_m3"]
    assert reads == near("TRD-07", expected["reads_m"])
    ends = {"lower": inputs["LRV_m"], "upper": inputs["URV_m"]}
    by_level = percent_errors(reads, inputs["true_m"], signal_span=inputs["URV_m"])
    by_current = percent_errors(
        signal_at(reads, **ends), signal_at(inputs["true_m"], **ends), signal_span=16.0
    )
    assert by_level == near("TRD-07", expected["error_pct_span"])
    assert by_current == pytest.approx(by_level, rel=1e-12)
