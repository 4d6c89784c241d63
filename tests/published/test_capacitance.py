"""Probes and permittivities: CAP-01 to CAP-03, CAP-06, TRD-05, TRD-06, and CODATA in scipy."""

import pytest
from scipy import constants

from plant.level.probes import (
    CONDUCTING,
    EPSILON_0,
    PICOFARADS_PER_METRE,
    Probe,
    capacitance_at,
    per_metre,
    permittivity_at,
    permittivity_shift,
)
from tests.published.reference import near, reference

RANGE = {"lower": 0.0, "upper": 8.0}
ROD = Probe(conductor=0.016, wall=2.0, length=8.0)


def test_electric_constant_cap_01():
    _, expected = reference("CAP-01")
    assert near("CAP-01", expected["epsilon_0_F_per_m"], nothing=0) == EPSILON_0
    assert pytest.approx(constants.epsilon_0, rel=1e-9) == EPSILON_0
    assert pytest.approx(55.63250276, rel=1e-9) == PICOFARADS_PER_METRE


def test_coaxial_cylinders_cap_02():
    inputs, expected = reference("CAP-02")
    capacitances = [
        per_metre(Probe(case["d_mm"] / 1000, case["D_mm"] / 1000, 1.0), case["eps_r"])
        for case in inputs["cases"]
    ]
    assert capacitances == near("CAP-02", expected["pF_per_m"])


def test_textbook_probe_cap_03():
    inputs, expected = reference("CAP-03")
    probe = Probe(conductor=0.01, wall=0.01 * inputs["b_over_a"], length=inputs["length_m"])
    # The problem rounds the electric constant to 8.85 pF/m.
    rounded = inputs["eps0_pF_per_m"] / (1e12 * EPSILON_0)
    found = capacitance_at(probe, inputs["depth_m"], inputs["eps_liquid"], gas=inputs["eps_gas"])
    assert rounded * found == near("CAP-03", expected["capacitance_pF"])
    rise = per_metre(probe, inputs["eps_liquid"]) - per_metre(probe, inputs["eps_gas"])
    assert rounded * rise == near("CAP-03", expected["sensitivity_pF_per_m"])


def test_changed_permittivity_cap_06():
    inputs, expected = reference("CAP-06")
    shift = permittivity_shift(
        ROD,
        8.0 * inputs["true_level_pct"] / 100,
        at_calibration=inputs["eps_at_calibration"],
        now=inputs["eps_now"],
        **RANGE,
    )
    assert shift.indicated == near("CAP-06", expected["indicated_pct"])
    assert shift.error == near("CAP-06", expected["error_pct_span"], digits=12)
    assert shift.output_error == pytest.approx(0.64)


def test_changed_and_warmed_product_trd_05():
    inputs, expected = reference("TRD-05")
    level = 8.0 * inputs["true_pct"] / 100
    changed = permittivity_shift(
        ROD, level, at_calibration=inputs["calibrated"], now=inputs["now"], **RANGE
    )
    assert changed.indicated == near("TRD-05", expected["indicated_after_change_pct"])
    warm = permittivity_at(
        inputs["now"], at=25.0, celsius=25.0 + inputs["warmed_K"], per_kelvin=inputs["per_K"]
    )
    warmed = permittivity_shift(ROD, level, at_calibration=inputs["now"], now=warm, **RANGE)
    assert warmed.indicated == near("TRD-05", expected["indicated_when_warmed_pct"])


def test_bare_and_insulated_rod_trd_06():
    inputs, expected = reference("TRD-06")
    empty, full = capacitance_at(ROD, [0.0, inputs["length_m"]], inputs["eps_r"])
    assert [empty, full] == near("TRD-06", [expected["empty_pF"], expected["full_pF"]])
    through = [
        [pf * series / (pf + series) for pf in (empty, full)] for series in inputs["series_pF"]
    ]
    names = ("empty_through_500_pF", "full_through_500_pF")
    assert through[0] == near("TRD-06", [expected[name] for name in names])
    shares = [(high - low) / (full - empty) for low, high in through]
    assert shares == near("TRD-06", expected["span_share"])
    cover = inputs["insulated"]
    insulated = Probe(
        cover["rod_mm"] / 1000,
        inputs["tank_mm"] / 1000,
        inputs["length_m"],
        insulation=cover["over_insulation_mm"] / 1000,
        insulation_permittivity=cover["eps_r"],
    )
    assert per_metre(insulated, CONDUCTING) == near("TRD-06", expected["insulated_pF_per_m"])
