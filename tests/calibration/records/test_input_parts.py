"""What applies the input: each component of each way once more by hand, in % of span."""

from __future__ import annotations

from decimal import Decimal
from math import pi

import numpy as np
import pytest

from calibration.records.input_parts import input_parts
from calibration.records.setup import Setup
from calibration.records.uncertainty import Parts
from plant.points.models import MeasuringPoint
from plant.tanks.geometry import geometry_of
from plant.tanks.models import Tank
from plant.transmitters.probe import probe_figures
from tests.makers import (
    a_certificate,
    a_point,
    a_standard,
    a_tank,
    a_transmitter,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db

MM = 100 / 8000  # % of a span of 8 m for a millimetre of level
HALF = 1 / 3**0.5  # a half-width of 1 as a standard uncertainty
NOTHING_ELSE = {"absolute": None, "percent_of_range": None, "percent_of_reading": None}


def setup_for(way: str, point=None, *, principle="capacitance rod", **standard) -> Setup:
    """A point of 0.3 to 8.3 m; with a standard of one certificate where its kind is named."""
    point = point or an_equipped_point(tolerance=Decimal(2))
    device = a_transmitter(principle=principle)
    certified = []
    if kind := standard.pop("kind", ""):
        row = a_standard(f"ST-{point.tag}-{standard['unit']}-{len(standard)}", kind=kind)
        certified = [(row, a_certificate(row, **(NOTHING_ELSE | standard)))]
    return Setup(point, device, way, certified)


def parts_at(setup: Setup, *levels: float) -> tuple[Parts, dict[str, list[float]]]:
    """The parts, and each one's contribution at the levels by its name."""
    applied = np.array(levels)
    parts = input_parts(setup, applied)
    return parts, {
        c.name: np.broadcast_to(c.contribution, applied.shape).tolist() for c in parts.components
    }


def test_simulated_output_leaves_the_steps_of_its_current():
    setup = setup_for("simulated output")
    parts, by_name = parts_at(setup, 0.3, 8.3)
    assert by_name == {"output step": pytest.approx([100 * 0.001 * HALF / 16] * 2)}
    assert parts.assumed == {"output step"}


# ---- a tape's certificate ----
def test_limits_of_a_tape_in_percent_of_reading_count_at_each_height():
    setup = setup_for(
        "wetted level by dip", kind="dip tape", unit="mm", percent_of_reading=Decimal("0.05")
    )
    parts, by_name = parts_at(setup, 2.0, 8.0)
    name = "dip tape specification"
    assert by_name[name] == pytest.approx([1.0 * HALF * MM, 4.0 * HALF * MM])
    assert parts.stems.keys() == {name}
    assert name not in parts.assumed | parts.lasting


@pytest.mark.parametrize(("unit", "half_width"), [("mm", "1.5"), ("cm", "0.15"), ("m", "0.0015")])
def test_a_tape_certified_in_mm_cm_or_m_is_the_same_tape(unit, half_width):
    setup = setup_for(
        "wetted level by dip", kind="dip tape", unit=unit, absolute=Decimal(half_width)
    )
    _, by_name = parts_at(setup, 8.0)
    assert by_name["dip tape specification"] == pytest.approx([1.5 * HALF * MM])


@pytest.mark.parametrize(("unit", "per_mm"), [("mm", 1), ("cm", 10), ("m", 1000)])
def test_percent_of_reading_is_of_the_height_in_whatever_unit_it_is_certified(unit, per_mm):
    setup = setup_for(
        "wetted level by dip",
        kind="dip tape",
        unit=unit,
        percent_of_reading=Decimal("0.05"),
        absolute=Decimal(1) / per_mm,
    )
    _, by_name = parts_at(setup, 8.0)
    assert by_name["dip tape specification"] == pytest.approx([5.0 * HALF * MM])


def test_limits_and_the_laboratory_s_uncertainty_of_a_tape_both_count():
    setup = setup_for(
        "wetted level by dip",
        kind="dip tape",
        unit="mm",
        absolute=Decimal("1.5"),
        expanded_uncertainty=Decimal("0.8"),
        coverage_factor=Decimal(2),
    )
    _, by_name = parts_at(setup, 8.0)
    assert by_name["dip tape specification"] == pytest.approx([1.5 * HALF * MM])
    assert by_name["dip tape certificate"] == pytest.approx([0.4 * MM])


def test_limits_in_percent_of_range_go_by_its_width():
    limits = {"kind": "dip tape", "unit": "mm", "percent_of_range": Decimal("0.01")}
    setup = setup_for(
        "wetted level by dip", **limits, range_low=Decimal(5000), range_high=Decimal(25000)
    )
    _, by_name = parts_at(setup, 8.0)
    assert by_name["dip tape specification"] == pytest.approx([2.0 * HALF * MM])


def test_a_certified_tape_is_wrong_by_the_same_in_every_reading_of_the_day():
    setup = setup_for("wetted level by dip", kind="dip tape", unit="mm", absolute=Decimal(1))
    shared = {c.name for c in parts_at(setup, 8.0)[0].components if c.shared}
    assert shared == {"dip tape specification", "datum plate and bottom", "tape temperature"}


# ---- the other ways ----
@pytest.mark.parametrize(("principle", "half_width"), [("ultrasonic", 14.45), ("radar", None)])
def test_only_sound_feels_the_air_between_face_and_target(principle, half_width):
    """0.17 % of the distance for a kelvin; the face is half a metre above the highest level."""
    setup = setup_for("target at known distance", principle=principle)
    _, by_name = parts_at(setup, 0.3, 8.3)
    assert by_name["tape or laser"] == pytest.approx([1.0 * MM] * 2)  # U = 2 mm, k = 2
    if half_width is None:
        assert "air temperature" not in by_name
    else:
        expected = [half_width * HALF * MM, 0.85 * HALF * MM]
        assert by_name["air temperature"] == pytest.approx(expected)


def test_a_certified_laser_stands_in_place_of_the_usual_one():
    setup = setup_for(
        "target at known distance",
        kind="laser or steel tape",
        unit="mm",
        percent_of_reading=Decimal("0.05"),
    )
    parts, by_name = parts_at(setup, 2.0, 8.0)
    name = "tape or laser specification"
    assert by_name[name] == pytest.approx([1.0 * HALF * MM, 4.0 * HALF * MM])
    assert parts.assumed == {"tilt and aim", "reference face"}


def test_pressure_stands_for_a_height_of_the_product_at_its_temperature():
    """Palm olein, 900 kg/m³: 8 m are 70.6 kPa; a millimetre is 8.826 Pa."""
    setup = setup_for("pressure applied")
    parts, by_name = parts_at(setup, 4.0, 8.0)
    kilopascals = np.array([4.0, 8.0]) * 900 * 9.80665 / 1000
    width = 0.0002 * kilopascals + 0.0001 * kilopascals[1]
    expected = width * HALF / (0.9 * 9.80665 / 1000) * MM
    assert by_name["pressure calibrator"] == pytest.approx(expected.tolist())
    assert by_name["density"] == pytest.approx([1000 * h / 900 * HALF * MM for h in (4, 8)])
    assert "pressure calibrator" in parts.assumed
    assert "density" not in parts.assumed


def test_a_product_without_a_density_is_taken_as_water_and_marked():
    point = an_equipped_point(tank=a_tank("T-9", product=None))
    parts, by_name = parts_at(setup_for("pressure applied", point), 8.0)
    assert by_name["density"] == pytest.approx([8.0 * HALF * MM])
    assert "density" in parts.assumed


@pytest.mark.parametrize(("unit", "per_kpa"), [("kPa", 1), ("bar", 100), ("mbar", "0.1")])
def test_a_pressure_calibrator_counts_in_whatever_unit_it_is_certified(unit, per_kpa):
    facts = {"kind": "pressure calibrator", "absolute": Decimal("0.02") / Decimal(per_kpa)}
    setup = setup_for("pressure applied", **facts, unit=unit)
    parts, by_name = parts_at(setup, 8.0)
    in_mm = 0.02 / (0.9 * 9.80665 / 1000)
    assert by_name["pressure calibrator specification"] == pytest.approx([in_mm * HALF * MM])
    assert parts.assumed == {"height of the port", "gravity"}


def test_weights_stand_for_a_height_whatever_the_displacer_displaces():
    """M2 weights: 0.016 % of the mass, so of the height; the volume 0.3 %; the density 1 kg/m³."""
    _, by_name = parts_at(setup_for("weights on hanger"), 8.0)
    assert by_name == {
        "weights": pytest.approx([0.16 * 8 * HALF * MM]),
        "displacer volume": pytest.approx([3.0 * 8 * HALF * MM]),
        "density": pytest.approx([1000 * 8 / 900 * HALF * MM]),
    }


def test_a_glass_a_raised_probe_and_a_moved_float_go_by_height_span_and_rod():
    _, glass = parts_at(setup_for("wetted level by gauge glass"), 4.0)
    assert glass["density of the column"] == pytest.approx([20.0 * HALF * MM])
    point = a_point("LT-7")
    _, raised = parts_at(setup_for("probe raised out of product", point), 4.0)
    assert raised["geometry at the nozzle"] == pytest.approx([40.0 * HALF * MM])
    _, moved = parts_at(setup_for("float moved along its rod", point), 4.0)
    assert moved["scale of the rod"] == pytest.approx([1.0 * HALF * MM])
    assert moved["draft of the float"] == pytest.approx([3.0 * HALF * MM])


@pytest.mark.parametrize(
    ("way", "usual", "name"),
    [
        ("wetted level by gauge glass", "glass scale", "glass scale certificate"),
        ("float moved along its rod", "scale of the rod", "tape along the rod certificate"),
        ("probe raised out of product", "", "tape along the probe certificate"),
    ],
)
@pytest.mark.parametrize("kind", ["laser or steel tape", "dip tape"])
def test_a_certified_tape_or_scale_counts_by_every_way_that_measures_a_length(
    way, usual, name, kind
):
    stated = {"expanded_uncertainty": Decimal("0.8"), "coverage_factor": Decimal(2)}
    parts, by_name = parts_at(setup_for(way, kind=kind, unit="mm", **stated), 4.0)
    assert by_name[name] == pytest.approx([0.4 * MM])
    assert name not in parts.assumed
    assert usual not in by_name


def test_certified_weights_count_by_their_share_or_by_a_displacer_of_a_litre():
    """8 m of 900 kg/m³ take 0.9 kg off a litre: 8.889 mm for a gram."""
    relative = {"kind": "weights", "unit": "g", "percent_of_reading": Decimal("0.016")}
    _, by_name = parts_at(setup_for("weights on hanger", **relative), 8.0)
    assert by_name["weights specification"] == pytest.approx([0.16 * 8 * HALF * MM])
    absolute = {"expanded_uncertainty": Decimal("0.5"), "coverage_factor": Decimal(2), "unit": "g"}
    setup = setup_for("weights on hanger", an_equipped_point("LT-2"), kind="weights", **absolute)
    _, by_name = parts_at(setup, 8.0)
    assert by_name["weights certificate"] == pytest.approx([0.25 * 8000 / 900 * MM])
    assert "weights" not in by_name


def test_a_hydrometer_and_a_thermometer_count_by_the_density_that_they_tell():
    for kind, unit, name, by in (
        ("hydrometer", "kg/m³", "hydrometer", 8000 / 900),
        ("thermometer", "°C", "thermometer in the product", 8000 * 0.65 / 900),
    ):
        stated = {"kind": kind, "unit": unit, "absolute": Decimal("0.5")}
        point = an_equipped_point(f"LT-{kind}")
        point.tank.product.density_per_k = Decimal("-0.65")
        _, by_name = parts_at(setup_for("pressure applied", point, **stated), 8.0)
        assert by_name[f"{name} specification"] == pytest.approx([0.5 * by * HALF * MM])


# ---- capacitance ----
def test_a_decade_box_without_a_certificate_goes_by_the_share_of_the_span():
    parts, by_name = parts_at(setup_for("capacitance substituted"), 0.3, 4.3, 8.3)
    shares = (0.0, 50.0, 100.0)
    expected = [(0.5 / 100 * share + 0.2) * HALF for share in shares]
    assert by_name["decade box"] == pytest.approx(expected)
    expected = [0.005 * share * HALF for share in shares]
    assert by_name["pF per metre of the probe"] == pytest.approx(expected)
    assert parts.assumed == {"decade box", "pF per metre of the probe"}
    assert parts.lasting == {"pF per metre of the probe"}


@pytest.mark.parametrize(
    ("certified", "half_widths"),
    [
        ({"percent_of_reading": Decimal("0.1")}, [0.0, 0.1]),
        (
            {"percent_of_range": Decimal("0.2"), "range_low": 0, "range_high": 2000},
            [0.4, 0.4],
        ),
        ({"absolute": Decimal(3)}, [0.3, 0.3]),
        ({"absolute": Decimal(1), "unit": "%"}, [0.0, 1.0]),
    ],
)
def test_a_certified_box_stands_for_a_span_of_a_thousand_picofarads_where_none_is_known(
    certified, half_widths
):
    kind = {"kind": "capacitance decade box", "unit": "pF", **certified}
    parts, by_name = parts_at(setup_for("capacitance substituted", **kind), 0.3, 8.3)
    name = "decade box specification"
    assert by_name[name] == pytest.approx([half * HALF for half in half_widths])
    assert by_name["leads of the decade box"] == pytest.approx([0.2 * HALF] * 2)
    assert name in parts.assumed
    assert "decade box" not in by_name


def test_a_certified_box_stands_for_the_capacitance_of_the_probe_that_is_registered():
    point = an_equipped_point()
    kind = {"kind": "capacitance decade box", "unit": "pF", "absolute": Decimal(3)}
    setup = setup_for("capacitance substituted", point, **kind)
    probe = {"probe_length_mm": Decimal(11900), "probe_diameter_mm": Decimal(12)}
    cover = {"insulation_mm": Decimal(2), "insulation_permittivity": Decimal("2.1")}
    for name, value in (probe | cover).items():
        setattr(setup.transmitter, name, value)
    figures = probe_figures(setup.transmitter, point, geometry_of(point.tank))
    parts, by_name = parts_at(setup, 0.3, 8.3)
    expected = 100 * 3 / figures.span_picofarads * HALF
    assert by_name["decade box specification"] == pytest.approx([expected] * 2)
    assert "decade box specification" not in parts.assumed


def test_a_range_turned_round_takes_the_same_shares():
    upside_down = a_point("LT-8", lower=Decimal("8.3"), upper=Decimal("0.3"))
    _, by_name = parts_at(setup_for("capacitance substituted", upside_down), 8.3, 0.3)
    assert by_name["pF per metre of the probe"] == pytest.approx([0.0, 0.5 * HALF])


# ---- where a volume is indicated ----
def a_volume_point(tank, upper: str):
    return a_point(
        "LT-9", tank, quantity="volume", unit="m3", lower=Decimal(0), upper=Decimal(upper)
    )


def test_a_millimetre_is_so_many_litres_where_a_volume_is_indicated():
    """A vertical tank of 11 m: 95.03 litres for each millimetre, at any height."""
    point = a_volume_point(a_tank(), "950")
    area = pi * 11**2 / 4
    _, by_name = parts_at(setup_for("wetted level by dip", point), 95.0, 760.0)
    assert by_name["surface motion and time offset"] == pytest.approx(
        [0.002 * area * 100 / 950 * HALF] * 2, rel=1e-6
    )
    _, glass = parts_at(setup_for("wetted level by gauge glass", point), 760.0)
    assert glass["density of the column"] == pytest.approx(
        [0.005 * (760 / area) * area * 100 / 950 * HALF], rel=1e-6
    )


def test_a_lying_tank_counts_most_litres_a_millimetre_in_its_middle():
    tank = a_tank(
        "T-8",
        shape="horizontal",
        diameter=Decimal(3),
        height=None,
        length=Decimal(10),
        bottom="flat",
    )
    full = pi * 1.5**2 * 10
    point = a_volume_point(tank, "70")
    _, by_name = parts_at(setup_for("wetted level by dip", point), full / 2)
    expected = 0.002 * 30 * 100 / 70 * HALF  # 3 m by 10 m of surface
    assert by_name["surface motion and time offset"] == pytest.approx([expected], rel=1e-6)


def test_where_the_dimensions_are_missing_the_mean_over_the_height_stands_for_each_level():
    tank = a_tank()  # 12 m high
    point = a_volume_point(tank, "960")
    Tank.objects.filter(pk=tank.pk).update(shape="strapped")  # and no row of its table
    point = MeasuringPoint.objects.get(pk=point.pk)
    _, by_name = parts_at(setup_for("wetted level by gauge glass", point), 480.0)
    assert by_name["density of the column"] == pytest.approx([0.5 / 100 * 6 * 100 / 12 * HALF])
    _, by_name = parts_at(setup_for("wetted level by dip", point), 480.0)
    assert by_name["surface motion and time offset"] == pytest.approx([0.2 / 12 * HALF])
