"""What is taken for each source of uncertainty where nothing better is known."""

from __future__ import annotations

import pytest

from calibration.metrology import components as standards
from calibration.metrology import input_components as ways
from calibration.metrology.uncertainty import Shape

# Width in mm (mA, pF), and whether all readings of one test share the error.
DEFAULTS = {
    "simulated output": (ways.simulated_output, [("output step", 0.001, False)]),
    "dip at 9.2 m": (
        lambda: ways.wetted_by_dip(9.2),
        [
            ("dip tape", 0.3 + 0.2 * 10 + 0.2, True),
            ("reading the cut", 1.0, False),
            ("datum plate and bottom", 2.0, True),
            ("surface motion and time offset", 2.0, False),
            ("tape temperature", 1000 * 11.5e-6 * 5.0 * 9.2, True),
            ("dips", 1.0 / 3**0.5, False),
        ],
    ),
    "gauge glass at 4 m": (
        lambda: ways.wetted_by_gauge_glass(4.0),
        [
            ("glass scale", 2.0, True),
            ("meniscus and parallax", 2.0, False),
            ("density of the column", 20.0, True),
        ],
    ),
    "probe raised, span 8 m": (
        lambda: ways.probe_raised(8.0),
        [
            ("mark on the probe", 3.0, False),
            ("clinging film", 5.0, False),
            ("geometry at the nozzle", 40.0, True),
        ],
    ),
    "pressure at 5 m of 900 kg/m³": (
        lambda: ways.pressure_applied(5.0, density=900.0, range_kilopascals=100.0),
        [
            ("pressure calibrator", 0.0002 * 0.9 * 9.80665 * 5.0 + 0.01, True),
            ("height of the port", 2.0, True),
            ("density", 5000 / 900, True),
            ("gravity", 5.0 / 9.80665, True),
        ],
    ),
    "target at 10 m, air ± 1 K": (
        lambda: ways.target_at_distance(10.0, air_kelvin=1.0),
        [
            ("tape or laser", 2.0, True),
            ("tilt and aim", 2.0, False),
            ("reference face", 1.0, True),
            ("air temperature", 17.0, True),
        ],
    ),
    "weights at 1.5 m": (
        lambda: ways.weights_on_hanger(1.5, mass=2.0, length=3.0, volume=0.01, density=800.0),
        [
            ("weights", 0.00016 * 2.0 * 1000 * 3.0 / 8.0, True),
            ("displacer volume", 4.5, True),
            ("density", 1500 / 800, True),
        ],
    ),
    "float, reed chain of 10 mm": (
        lambda: ways.float_moved(pitch=10.0),
        [
            ("scale of the rod", 1.0, True),
            ("draft of the float", 3.0, True),
            ("step of the reed chain", 5.0, False),
        ],
    ),
    "meter at 20 mA and 31 °C": (
        lambda: standards.default_meter(20.0, celsius=31.0),
        [
            ("meter specification", 0.006, True),
            ("meter resolution", 0.0005, False),
            ("meter temperature", 0.00002 * 20 * 3, True),
        ],
    ),
}


@pytest.mark.parametrize(("taken", "expected"), DEFAULTS.values(), ids=DEFAULTS)
def test_each_default_has_its_width_and_is_shared_or_not(taken, expected):
    taken = taken()
    names = [(component.name, component.shared) for component in taken]
    assert names == [(name, shared) for name, _, shared in expected]
    widths = [component.value for component in taken]
    assert widths == pytest.approx([width for _, width, _ in expected], rel=1e-9)


def test_a_pressure_counts_in_millimetres_of_its_product():
    known = ways.pressure_applied(5.0, density=900.0, range_kilopascals=100.0)[0]
    assert known.sensitivity == pytest.approx(1e6 / (900 * 9.80665), rel=1e-9)


@pytest.mark.parametrize("known", [0.5, 2.0])
def test_a_density_known_half_as_well_brings_twice_as_much(known):
    ends = {"length": 3.0, "volume": 0.01, "density": 800.0}
    hung = ways.weights_on_hanger(1.5, mass=2.0, density_width=known, **ends)
    applied = ways.pressure_applied(1.5, density=800.0, density_width=known)
    widths = [part.value for part in (*hung, *applied) if part.name == "density"]
    assert widths == pytest.approx([1500 * known / 800] * 2, rel=1e-9)


@pytest.mark.parametrize(
    ("tape_class", "width"), [(1, 0.1 + 0.1 * 3 + 0.2), (2, 0.3 + 0.2 * 3 + 0.2)]
)
def test_a_tape_counts_each_metre_begun(tape_class, width):
    assert ways.wetted_by_dip(2.1, tape_class=tape_class)[0].value == pytest.approx(width)


def test_dips_that_were_taken_take_the_place_of_the_usual_scatter():
    dips = ways.wetted_by_dip(2.0, readings=[1999.0, 2001.0])[-1]
    assert (dips.value, dips.dof) == (pytest.approx(1.0), 1)
    assert ways.wetted_by_dip(2.0, dips=1)[-1].dof == 1
    assert ways.wetted_by_dip(2.0)[-1].dof == 2


def test_no_air_and_no_chain_bring_nothing():
    assert len(ways.target_at_distance(10.0)) == 3
    assert len(ways.float_moved()) == 2


def test_a_certificate_is_a_normal_divided_by_its_factor():
    known = standards.certificate("tape", 2.0, 2.5, dof=12)
    assert (known.u, known.dof, known.shared) == (pytest.approx(0.8), 12, True)
    assert known.shape is Shape.NORMAL


def test_a_limit_in_per_cent_of_reading_is_a_limit():
    assert standards.specification("meter", 20.0, percent_of_reading=0.5).value == 0.1
    assert standards.specification("meter", 20.0, digits=3, resolution=0.01).value == 0.03


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"absolute": -0.1},
        {"percent_of_range": 0.1},
        {"digits": 2},
    ],
)
def test_a_specification_without_any_limit_is_refused(given):
    with pytest.raises(ValueError, match="specification"):
        standards.specification("meter", 20.0, **given)


@pytest.mark.parametrize(("celsius", "beyond"), [(18.0, 0), (17.0, 1), (28.0, 0), (30.0, 2)])
def test_a_meter_drifts_beyond_five_kelvin_from_its_reference(celsius, beyond):
    assert standards.meter_temperature(-10.0, celsius).value == pytest.approx(0.0002 * beyond)


@pytest.mark.parametrize("readings", [3.0, [3.0]])
def test_one_reading_tells_no_scatter(readings):
    with pytest.raises(ValueError, match="at least two"):
        standards.repeatability_of("meter", readings)


def test_repeats_below_one_are_refused():
    assert standards.known_repeatability("dips", 1.0, repeats=1, dof=1).value == 1.0
    with pytest.raises(ValueError, match="repeats"):
        standards.known_repeatability("dips", 1.0, repeats=0, dof=1)
