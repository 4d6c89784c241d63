"""What reads the output: the meter, its last digit, its temperature, the loop resistor, a display;
each once more by hand, in % of span.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from calibration.records.budgets import uncertainty_of
from calibration.records.certificate_units import signal_per_unit
from calibration.records.entry import ReadingEntry
from calibration.records.output_parts import meter_digit, output_parts
from calibration.records.setup import Setup
from calibration.records.uncertainty import Parts
from plant.level.signals import SIGNALS
from tests.makers import a_certificate, a_point, a_reading, a_standard, a_transmitter

pytestmark = pytest.mark.django_db

MA = 100 / 16  # % of span for a milliampere
HALF = 1 / 3**0.5  # a half-width of 1 as a standard uncertainty
LOOP = {"percent_of_reading": Decimal("0.05"), "absolute": None, "percent_of_range": None}


def setup_for(signal: str = "4-20mA", ambient_c: Decimal | None = None, **standards) -> Setup:
    """A point of 0.3 to 8.3 m; ``standards``: facts of a certificate by the kind of standard."""
    point = a_point(signal=signal, tolerance=Decimal(2))
    certified = []
    for kind, facts in standards.items():
        row = a_standard(f"ST-{kind}", kind=kind.replace("_", " "))
        certified.append((row, a_certificate(row, **(LOOP | facts))))
    return Setup(point, a_transmitter(), "wetted level by dip", certified, ambient_c)


def parts_at(setup: Setup, readings: list[ReadingEntry]) -> tuple[Parts, dict[str, list[float]]]:
    """The parts, and each one's contribution at the readings by its name."""
    parts = output_parts(setup, readings)
    return parts, {
        c.name: np.broadcast_to(c.contribution, len(readings)).tolist() for c in parts.components
    }


READINGS = [a_reading("0.3", "4.000"), a_reading("8.3", "20.000")]


# ---- the meter ----
def test_a_meter_without_a_certificate_has_the_usual_limits_marked_as_assumed():
    parts, by_name = parts_at(setup_for(), READINGS)
    assert by_name == {
        "meter specification": pytest.approx([0.0028 * HALF * MA, 0.006 * HALF * MA]),
        "meter resolution": pytest.approx([0.0005 * HALF * MA] * 2),
        "meter temperature": pytest.approx([0.0, 0.0]),
    }
    assert parts.assumed == set(by_name)


def test_a_meter_of_volts_without_a_certificate_has_the_same_limits_in_its_range():
    """1 to 5 V stand for 4 to 20 mA over 250 Ω, so each share of the span is the same."""
    read = [a_reading("0.3", "1.000"), a_reading("8.3", "5.0000")]
    _, by_name = parts_at(setup_for("1-5V"), read)
    assert by_name["meter specification"] == pytest.approx([0.0028 * HALF * MA, 0.006 * HALF * MA])
    assert by_name["meter resolution"] == pytest.approx([0.00005 * HALF * 25] * 2)


def test_a_certificate_s_limits_count_at_what_was_read():
    parts, by_name = parts_at(setup_for(multimeter={"unit": "mA"}), READINGS)
    assert by_name["meter specification"] == pytest.approx([0.002 * HALF * MA, 0.01 * HALF * MA])
    assert not parts.assumed
    assert parts.stems == {"meter specification": "ST-multimeter"}
    assert "meter temperature" not in by_name  # the day's temperature was not noted


def test_what_was_not_read_is_taken_as_it_should_be():
    indicated = ReadingEntry("as found", 2, Decimal("8.3"), None, indication=Decimal("8.3"))
    _, by_name = parts_at(setup_for(multimeter={"unit": "mA"}), [READINGS[0], indicated])
    assert by_name["meter specification"] == pytest.approx([0.002 * HALF * MA, 0.01 * HALF * MA])


@pytest.mark.parametrize(("celsius", "beyond"), [("28", 0), ("33", 5), ("13", 5), ("18", 0)])
def test_a_meter_outside_its_room_temperature_drifts_with_each_kelvin(celsius, beyond):
    setup = setup_for(ambient_c=Decimal(celsius), loop_calibrator={"unit": "mA"})
    _, by_name = parts_at(setup, READINGS[1:])
    assert by_name["meter temperature"] == pytest.approx([0.00002 * 20 * beyond * HALF * MA])


def test_a_last_digit_that_the_certificate_states_counts_in_place_of_what_was_typed():
    stated = {"unit": "mA", "resolution": Decimal("0.004")}
    parts, by_name = parts_at(setup_for(multimeter=stated), READINGS)
    assert by_name["meter resolution"] == pytest.approx([0.002 * HALF * MA] * 2)
    assert not parts.assumed


def test_limits_and_resolution_in_volts_are_those_of_the_loop_s_current():
    volts = {"unit": "V", "resolution": Decimal("0.001")}
    _, by_name = parts_at(setup_for(multimeter=volts), READINGS)
    assert by_name["meter specification"] == pytest.approx([0.002 * HALF * MA, 0.01 * HALF * MA])
    assert by_name["meter resolution"] == pytest.approx([0.002 * HALF * MA] * 2)


@pytest.mark.parametrize(
    ("signal", "unit", "factor"),
    [
        ("4-20mA", "mA", 1.0),
        ("4-20mA", "V", 4.0),
        ("4-20mA", "mV", 0.004),
        ("1-5V", "V", 1.0),
        ("1-5V", "mV", 0.001),
        ("1-5V", "mA", None),
        ("4-20mA", "°C", None),
    ],
)
def test_a_current_is_read_in_volts_over_the_loop_resistor(signal, unit, factor):
    assert signal_per_unit(SIGNALS[signal], unit) == factor


# ---- the last digit ----
@pytest.mark.parametrize(
    ("observed", "digit"),
    [
        (["12.01", "8.002"], 0.001),
        (["12", "8.0"], 0.01),  # noughts were left untyped: no display on a loop is coarser
        (["12.00", "8.00"], 0.01),
    ],
)
def test_the_finest_reading_shows_the_last_digit_of_the_meter(observed, digit):
    readings = [a_reading("4.3", text) for text in observed]
    assert meter_digit(readings, coarsest=0.01) == digit


def test_a_computed_reading_shows_no_digit_of_the_meter():
    readings = [a_reading("4.3", "12.01"), a_reading("0.3", "4.00123", origin="computed")]
    assert meter_digit(readings, coarsest=0.05) == 0.01


@pytest.mark.parametrize(("signal", "half_width"), [("4-20mA", 0.005), ("0-20mA", 0.00625)])
def test_no_display_on_a_loop_is_taken_as_coarser_than_a_sixteen_hundredth_of_span(
    signal, half_width
):
    _, by_name = parts_at(setup_for(signal), [a_reading("8.3", "20")])
    span = SIGNALS[signal].span
    assert by_name["meter resolution"] == pytest.approx([half_width * HALF * 100 / span])


# ---- the resistor ----
@pytest.mark.parametrize(
    ("stated", "percent"),
    [
        ({"percent_of_reading": Decimal("0.1")}, 0.1),
        ({"percent_of_reading": None, "percent_of_range": Decimal("0.02")}, 0.02),
        ({"percent_of_reading": Decimal("0.1"), "percent_of_range": Decimal("0.02")}, 0.12),
        ({"percent_of_reading": None, "absolute": Decimal("0.25")}, 0.1),
        ({"percent_of_reading": None, "absolute": Decimal("0.1"), "unit": "%"}, 0.1),
        ({"percent_of_reading": None, "percent_of_range": Decimal("0.1"), "unit": "%"}, 0.1),
    ],
)
def test_a_resistor_is_wrong_by_so_many_percent_of_the_current(stated, percent):
    parts, by_name = parts_at(setup_for(resistor={"unit": "Ω", **stated}), READINGS)
    expected = [percent / 100 * current * HALF * MA for current in (4, 20)]
    assert by_name["loop resistor specification"] == pytest.approx(expected)
    assert "loop resistor specification" not in parts.assumed


def test_the_laboratory_s_uncertainty_of_a_resistor_counts_in_ohm():
    stated = {"expanded_uncertainty": Decimal("0.5"), "coverage_factor": Decimal(2), "unit": "Ω"}
    _, by_name = parts_at(setup_for(resistor={"percent_of_reading": None, **stated}), READINGS)
    expected = [0.25 / 250 * current * MA for current in (4, 20)]
    assert by_name["loop resistor certificate"] == pytest.approx(expected)


def test_a_second_meter_counts_beside_the_first():
    both = {"multimeter": {"unit": "mA"}, "loop_calibrator": {"unit": "V"}}
    parts, by_name = parts_at(setup_for(**both), READINGS)
    expected = [0.0005 * current * HALF * MA for current in (4, 20)]
    second = "meter ST-loop_calibrator specification"
    assert by_name["meter specification"] == pytest.approx(expected)
    assert by_name[second] == pytest.approx(expected)
    assert parts.stems[second] == "ST-loop_calibrator"


def test_a_thermometer_counts_by_what_the_meter_s_temperature_does():
    """U of 0.3 K and a deviation of 0.2 K, 0.002 % of reading for a kelvin."""
    stated = {
        "unit": "°C",
        "percent_of_reading": None,
        "expanded_uncertainty": Decimal("0.3"),
        "coverage_factor": Decimal(2),
        "deviation": Decimal("-0.2"),
    }
    parts, by_name = parts_at(setup_for(thermometer=stated), READINGS)
    name = "thermometer at the meter"
    assert by_name[f"{name} certificate"][1] == pytest.approx(0.15 * 0.00002 * 20 * MA)
    assert by_name[f"{name} deviation"][1] == pytest.approx(0.2 * HALF * 0.00002 * 20 * MA)
    assert not parts.corrections


def test_without_a_resistor_there_is_no_part_of_one():
    assert "loop resistor" not in parts_at(setup_for(), READINGS)[1]


# ---- a display ----
@pytest.mark.parametrize(
    ("shown", "digit"), [("4.30", 0.008), ("4.3", 0.008), ("4.300", 0.001), ("4", 0.008)]
)
def test_a_display_leaves_half_its_last_digit_and_a_thousandth_of_span_at_most(shown, digit):
    reading = a_reading("4.3", "12", indication=Decimal(shown))
    parts, by_name = parts_at(setup_for(), [reading])
    assert by_name == {"display": pytest.approx([digit / 2 * HALF * 100 / 8])}
    assert not parts.assumed


# ---- repeats ----
def test_repeats_are_pooled_over_the_points_that_were_repeated():
    """12.000 and 12.080 scatter by 0.0566 mA, 8.00, 8.02 and 8.04 by 0.02: three in all."""
    readings = [
        a_reading("4.3", "12.000"),
        a_reading("4.3", "12.080", run=2),
        *(a_reading("2.3", text, run=n) for n, text in enumerate(["8.00", "8.02", "8.04"], 1)),
        a_reading("8.3", "20.000"),
    ]
    [part] = [
        c for c in uncertainty_of(setup_for(), readings).components if c.name == "repeated readings"
    ]
    assert part.u == pytest.approx(((0.0032 + 0.0008) / 3) ** 0.5 * MA)
    assert part.dof == 3


@pytest.mark.parametrize(
    "other",
    [
        {"rising": False},
        {"stage": "as left"},
        {"applied": "4.31"},
    ],
)
def test_another_side_stage_or_level_is_no_repeat(other):
    facts = {"applied": "4.3", "observed": "12.080", "rising": True, **other}
    readings = [a_reading("4.3", "12.000", rising=True), a_reading(**facts)]
    names = {c.name for c in uncertainty_of(setup_for(), readings).components}
    assert "repeated readings" not in names


def test_the_same_value_read_again_scatters_by_nothing():
    readings = [a_reading("4.3", "12.000"), a_reading("4.3", "12.000", run=2)]
    names = {c.name for c in uncertainty_of(setup_for(), readings).components}
    assert "repeated readings" not in names


def test_repeats_of_an_indication_scatter_in_its_own_unit():
    readings = [
        a_reading("4.3", "12", indication=Decimal(text), run=n)
        for n, text in enumerate(["4.300", "4.340"], 1)
    ]
    [part] = [
        c for c in uncertainty_of(setup_for(), readings).components if c.name == "repeated readings"
    ]
    assert part.u == pytest.approx(0.04 / 2**0.5 * 100 / 8)
