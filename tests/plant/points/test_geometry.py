"""Tanks and points of the register against the geometry a person works out by hand."""

from decimal import Decimal

import numpy as np
import pytest

from plant.points.geometry import (
    capacity,
    expected_signal,
    height_lines,
    indicated,
    inside_height,
    level_at,
    refuse_range_outside,
)
from plant.refusals import Refused
from plant.tanks.geometry import derive, geometry_of, outline_of
from plant.tanks.models import Tank
from tests.makers import a_point, a_tank

pytestmark = pytest.mark.django_db

TABLE = [(Decimal(0), Decimal(0)), (Decimal(1), Decimal(10)), (Decimal(3), Decimal(50))]


def test_a_vertical_tank_gets_height_and_capacity_from_its_dimensions():
    tank = a_tank(diameter=Decimal(2), height=Decimal(3))
    assert tank.inside_height_m == pytest.approx(3)
    assert tank.capacity_m3 == pytest.approx(3 * np.pi)


def test_dimensions_are_taken_in_their_unit():
    tank = a_tank(unit="mm", diameter=Decimal(2000), height=Decimal(3000))
    assert tank.capacity_m3 == pytest.approx(3 * np.pi)


@pytest.mark.parametrize("field", ["height", "length"])
def test_a_horizontal_tanks_length_may_stand_in_either_field(field):
    tank = a_tank(shape="horizontal", diameter=Decimal(2), **{"height": None, field: Decimal(6)})
    assert tank.inside_height_m == pytest.approx(2)
    assert tank.capacity_m3 == pytest.approx(6 * np.pi)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"diameter": None}, "diameter"),
        ({"height": Decimal(0)}, "height"),
        ({"diameter": Decimal(-1)}, "diameter"),
        ({"shape": "rectangular", "length": Decimal(2)}, "width"),
        ({"shape": "sphere", "diameter": None}, "diameter"),
        ({"shape": "horizontal", "height": None}, "length"),
        ({"shape": "strapped"}, "strapping"),
        ({"datum": Decimal(12)}, "datum"),
        ({"datum": Decimal("-0.1")}, "datum"),
        ({"lowest_level": Decimal("-0.1")}, "lowest_level"),
        ({"highest_level": Decimal("12.1")}, "highest_level"),
    ],
)
def test_a_tank_that_cannot_be_is_refused_at_its_field(values, field):
    shown = {
        "shape": "vertical",
        "unit": "m",
        "diameter": Decimal(11),
        "height": Decimal(12),
        **values,
    }
    with pytest.raises(Refused) as refusal:
        derive(Tank(name="T-1", **shown))
    assert refusal.value.field == field


def test_levels_of_a_tank_with_a_raised_datum_may_be_negative_down_to_the_lowest_point():
    tank = Tank(
        name="T-1",
        shape="vertical",
        diameter=11,
        height=12,
        datum=Decimal("0.5"),
        lowest_level=Decimal("-0.5"),
    )
    derive(tank)
    assert (tank.lowest_level, tank.inside_height_m) == (Decimal("-0.5"), 12)


def test_a_strapping_table_gives_height_and_capacity():
    tank = Tank(name="T-1", shape="strapped", unit="m")
    derive(tank, TABLE)
    assert (tank.inside_height_m, tank.capacity_m3) == (3, 50)


def test_a_strapping_table_that_falls_is_refused():
    with pytest.raises(Refused) as refusal:
        derive(Tank(name="T-1", shape="strapped"), [*TABLE, (Decimal(4), Decimal(49))])
    assert refusal.value.field == "strapping"


def test_a_strapped_tank_is_drawn_with_its_volumes():
    corners = outline_of(geometry_of(Tank(name="T-1", shape="strapped"), TABLE))
    widths = {round(x, 4) for x, _ in corners if x > 0}
    assert widths == {round(float(np.sqrt(10 / np.pi)), 4), round(float(np.sqrt(20 / np.pi)), 4)}


def test_a_level_counts_from_the_datum_plate_and_a_volume_from_the_lowest_point():
    tank = a_tank(diameter=Decimal(2), height=Decimal(3), datum=Decimal("0.5"))
    point = a_point(tank=tank, lower=Decimal(0), upper=Decimal(2))
    geometry = geometry_of(tank)
    assert [line.level for line in height_lines(point, geometry, 3)] == pytest.approx([0, 1, 2])
    assert [line.volume for line in height_lines(point, geometry, 3)] == pytest.approx(
        [0.5 * np.pi, 1.5 * np.pi, 2.5 * np.pi]
    )
    assert [line.signal for line in height_lines(point, geometry, 3)] == pytest.approx([4, 12, 20])


def test_a_point_that_indicates_volume_shows_the_level_for_each_volume():
    tank = a_tank(diameter=Decimal(2), height=Decimal(3), datum=Decimal("0.5"))
    litres = a_point(tank=tank, quantity="volume", unit="L", lower=Decimal(0), upper=Decimal(9000))
    lines = height_lines(litres, geometry_of(tank), 2)
    assert [line.volume for line in lines] == pytest.approx([0, 9])
    assert [line.level for line in lines] == pytest.approx([-0.5, 9 / np.pi - 0.5])
    assert level_at(litres, geometry_of(tank), 9000) == pytest.approx(9 / np.pi - 0.5)


def test_the_expected_signal_is_linear_in_the_points_own_unit_and_mirrors_for_reverse_action():
    tank = a_tank()
    assert expected_signal(
        a_point("LT-1", tank, unit="mm", lower=Decimal(300), upper=Decimal(8300)), 4300
    ) == pytest.approx(12)
    reverse = a_point("LT-2", tank, lower=Decimal(8), upper=Decimal(0))
    assert expected_signal(reverse, np.array([0, 2, 8])) == pytest.approx([20, 16, 4])
    assert indicated(reverse, 16) == pytest.approx(2)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"upper": Decimal("12.1")}, "upper"),
        ({"lower": Decimal("-0.1")}, "lower"),
        ({"lower": Decimal(13)}, "lower"),
        ({"unit": "m3"}, "unit"),
        ({"quantity": "volume", "unit": "m3", "upper": Decimal(1200)}, "upper"),
    ],
)
def test_a_range_outside_the_tank_is_refused_at_its_end(values, field):
    point = a_point()
    for name, value in values.items():
        setattr(point, name, value)
    with pytest.raises(Refused) as refusal:
        refuse_range_outside(point)
    assert refusal.value.field == field


def test_a_range_that_fills_the_whole_tank_is_not_outside():
    tank = a_tank(
        diameter=Decimal("2.345"), height=Decimal("3.21"), roof="cone", roof_depth=Decimal("0.777")
    )
    geometry = geometry_of(tank)
    top = Decimal(str(round(inside_height(geometry), 5)))
    a_point("LT-1", tank, lower=Decimal(0), upper=top)
    full = Decimal(str(round(capacity(geometry), 5)))
    whole = a_point("LT-2", tank, quantity="volume", unit="m3", lower=Decimal(0), upper=full)
    refuse_range_outside(whole)
    assert height_lines(whole, geometry)[-1].level == pytest.approx(float(top), abs=1e-4)
