"""What a change of product does at a point, from the register's rows; and what its probe should
measure.
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from plant.product_changes.shifts import outcome_of
from plant.products.models import Product
from plant.tanks.geometry import geometry_of
from plant.tanks.models import Tank
from plant.transmitters.probe import Contents, Lacking, probe_figures, probe_of
from tests.makers import a_point, a_product, a_tank, a_transmitter

pytestmark = pytest.mark.django_db

ROD = {"probe_length_mm": 8100, "probe_diameter_mm": 12}
COVER = {"insulation_mm": 2, "insulation_permittivity": Decimal("2.1")}


def olein(celsius=40) -> Contents:
    return Contents(a_product(permittivity_per_k=Decimal("-0.004")), Decimal(celsius))


def soybean(**more) -> Contents:
    values = {
        "permittivity": Decimal("3.15"),
        "permittivity_c": 25,
        "density": 917,
        "density_c": 25,
    }
    return Contents(a_product(name="soybean oil", **(values | more)), Decimal(25))


def brine(**more) -> Contents:
    return Contents(Product(name="brine", conducts=True, density=Decimal(1197), **more), None)


def outcome(before, after, *, principle="capacitance rod", point=None, **device):
    device = a_transmitter(principle=principle, **device)
    return outcome_of(point or a_point(), device, before=before, after=after)


def test_another_permittivity_shifts_in_proportion_where_the_probe_begins_at_lrv():
    # (3.15 − 1)/(3.05 − 1) = 1.048780: 4.878 % when full, a quarter of it at 25 %.
    out = outcome(olein(), soybean(), **ROD)
    assert [e.percent for e in out.effects] == pytest.approx([1.2195, 2.4390, 4.8780], abs=5e-5)
    assert out.full.output == pytest.approx(0.16 * 4.8780, abs=1e-5)
    assert out.full.level == pytest.approx(0.048780 * 8, abs=5e-6)
    assert (out.by, out.before, out.after) == ("permittivity", 3.05, 3.15)


def test_a_probe_that_reaches_below_lrv_shifts_its_zero_too():
    # 12 m tank, 11.9 m rod: its tip is at 0.1 m, 0.2 m under LRV, and is wetted there as well.
    out = outcome(olein(), soybean(), **ROD | {"probe_length_mm": 11900})
    assert out.full.level == pytest.approx(0.048780 * 8.2, abs=5e-6)


def test_a_warmer_product_reads_low():
    out = outcome(olein(40), olein(60), **ROD)
    assert out.full.percent == pytest.approx(100 * (2.97 - 1) / (3.05 - 1) - 100, abs=1e-9)
    assert out.full.level < 0


@pytest.mark.parametrize("principle", ["hydrostatic", "differential pressure"])
def test_a_heavier_product_reads_high_where_a_head_is_weighed(principle):
    out = outcome(olein(), soybean(), principle=principle)
    assert out.full.level == pytest.approx(8.3 * (917 / 900 - 1))
    assert out.full.percent == pytest.approx(100 * 8.3 / 8 * (917 / 900 - 1))
    assert out.by == "density"


def test_a_displacer_is_lifted_from_its_lower_end_on():
    out = outcome(olein(), soybean(), principle="displacer")
    assert out.full.percent == pytest.approx(100 * (917 / 900 - 1))


@pytest.mark.parametrize("principle", ["radar", "guided wave", "ultrasonic", "float"])
def test_an_echo_or_a_float_does_not_follow_product_data(principle):
    out = outcome(olein(), soybean(), principle=principle)
    assert (out.by, out.effects, out.lacking) == ("", (), "")


def test_reverse_action_shows_the_error_of_its_output():
    point = a_point(lower=Decimal("8.3"), upper=Decimal("0.3"))
    out = outcome(olein(), soybean(), point=point, **ROD)
    assert out.full.level == pytest.approx(0.048780 * 8, abs=5e-6)
    assert out.full.percent == pytest.approx(-4.8780, abs=5e-5)


def test_a_volume_point_is_told_in_its_volume():
    tank = a_tank("T-131", shape="horizontal", diameter=Decimal("2.6"), length=Decimal("8.4"), height=None)  # fmt: skip
    point = a_point("LT-131B", tank, quantity="volume", unit="m3", lower=Decimal(2), upper=Decimal(40))  # fmt: skip
    out = outcome(olein(), soybean(), point=point, principle="hydrostatic")

    def held(height: float) -> float:  # m³ of a lying cylinder by its segment
        angle = 2 * math.acos(1 - height / 1.3)
        return 8.4 * 1.3**2 * (angle - math.sin(angle)) / 2

    full = out.full.level / (917 / 900 - 1)  # of the whole head the error is this share
    assert held(full) == pytest.approx(40)
    assert out.full.percent == pytest.approx(100 * (held(full + out.full.level) - 40) / 38)


def test_between_two_conducting_liquids_nothing_shifts():
    out = outcome(brine(), Contents(a_product(name="lye", conducts=True), None), **ROD | COVER)
    assert out.largest == 0


def test_an_insulated_probe_goes_from_oil_to_brine_far_off_scale():
    point = a_point()
    out = outcome(olein(), brine(), point=point, **ROD | COVER)
    assert out.full.percent > 100
    back = outcome(brine(), olein(), point=point, **ROD | COVER)
    assert back.full.percent < -90


@pytest.mark.parametrize(
    ("device", "after", "datum"),
    [
        ({}, soybean, "the probe's length"),
        ({"probe_length_mm": 8100}, soybean, "the diameter of rod or rope"),
        (ROD | {"insulation_mm": 2}, soybean, "the permittivity of the probe's insulation"),
        (ROD | {"probe_length_mm": 4000}, soybean, "a probe long enough for the range"),
        (ROD, lambda: soybean(permittivity=None), "the permittivity of soybean oil"),
        (ROD, brine, "the probe's insulation"),
        (ROD, lambda: Contents(None, None), "which product stood in the tank"),
        ({"principle": "displacer"}, lambda: soybean(density=None), "the density of soybean oil"),
    ],
)
def test_what_the_register_lacks_is_named_and_nothing_guessed(device, after, datum):
    out = outcome(olein(), after(), **device)
    assert datum in out.lacking
    assert out.effects == ()


@pytest.mark.parametrize(
    ("tank", "datum"),
    [
        ({"wall_conducts": False}, "reference electrode"),
        ({"shape": "rectangular", "length": Decimal(3), "width": Decimal(2), "diameter": None}, ""),
    ],
)
def test_the_other_plate_must_be_known(tank, datum):
    point = a_point("LT-9A", a_tank("T-9", **tank))
    device = a_transmitter(**ROD)
    if datum:
        with pytest.raises(Lacking, match=datum):
            probe_of(device, point, geometry_of(point.tank))
    else:
        assert probe_of(device, point, geometry_of(point.tank)).wall == 2


# ---- what a probe should measure ----
def facts_of(device: dict, contents: Contents, **tank):
    tank = a_tank("T-9", diameter=Decimal(2), product=contents.product, product_c=contents.celsius, **tank)  # fmt: skip
    point = a_point("LT-9A", tank, lower=Decimal(0), upper=Decimal(8))
    return probe_figures(a_transmitter(**device), point, geometry_of(tank))


def test_expected_picofarads_are_those_worked_by_hand():
    # Rod of 16 mm in 2000 mm, 8 m, permittivity 3.05: 92.177 pF dry, 281.140 full.
    values = facts_of(
        {"probe_length_mm": 8000, "probe_diameter_mm": 16}, olein(), height=Decimal(8)
    )
    assert values.in_gas == pytest.approx(92.177 / 8, abs=1e-4)
    expected = [92.177, 92.177, 281.140, 281.140]
    assert [h.picofarads for h in values.heights] == pytest.approx(expected, abs=5e-4)
    assert values.span_picofarads == pytest.approx(188.963, abs=1e-3)
    causes = {s.cause: s for s in values.sensitivities}
    assert causes["Permittivity 0.1 higher"].percent == pytest.approx(4.8780, abs=5e-5)
    assert causes["10 K warmer"].percent == pytest.approx(-100 * 0.04 / 2.05, abs=1e-9)


def test_in_a_conducting_liquid_the_insulation_is_the_dielectric():
    lye = Contents(a_product(name="lye", conducts=True, permittivity=None), None)
    values = facts_of(ROD | COVER, lye)
    assert values.in_liquid == pytest.approx(406.102, abs=1e-3)
    named = [s.cause for s in values.sensitivities]
    assert named[0].startswith("Conducting film 100 mm up")
    assert not any("Permittivity 0.1" in name for name in named)
    film, crust = values.sensitivities
    assert film.percent == pytest.approx(100 * 0.1 / 8, rel=1e-6)
    assert crust.percent < -20
    with pytest.raises(Lacking, match="short-circuited by lye"):
        probe_figures(a_transmitter(**ROD), facts_point(), geometry_of(Tank.objects.get()))


def facts_point():
    from plant.points.models import MeasuringPoint

    return MeasuringPoint.objects.select_related("tank__product").get()
