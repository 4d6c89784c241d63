from decimal import Decimal

import numpy as np
import pytest

from plant.level.units import (
    LENGTH_UNITS,
    VOLUME_UNITS,
    UnknownUnit,
    from_cubic_metres,
    from_metres,
    to_cubic_metres,
    to_metres,
)

EXACT = {"mm": "0.001", "cm": "0.01", "m": "1", "in": "0.0254", "ft": "0.3048"}


@pytest.mark.parametrize("unit", LENGTH_UNITS)
def test_decimal_stays_an_exact_decimal(unit):
    assert to_metres(Decimal("12.5"), unit) == Decimal("12.5") * Decimal(EXACT[unit])
    assert from_metres(Decimal(EXACT[unit]), unit) == 1


def test_litres_are_thousandths_of_a_cubic_metre():
    assert to_cubic_metres(Decimal(2500), "L") == Decimal("2.5")
    assert from_cubic_metres(2.5, "L") == 2500.0
    assert to_cubic_metres(2.5, "m3") == 2.5


def test_float_in_millimetres_is_rounded_once():
    assert [to_metres(float(n), "mm") for n in range(20_000)] == [n / 1000 for n in range(20_000)]


@pytest.mark.parametrize("unit", LENGTH_UNITS)
def test_array_goes_to_metres_and_back(unit):
    values = np.array([[0.0, 1.0], [2.5, -3.0]])
    assert from_metres(to_metres(values, unit), unit) == pytest.approx(values, rel=1e-15)


@pytest.mark.parametrize(
    ("turn", "unit", "named"),
    [
        (to_metres, "yd", "mm, cm, m, in or ft"),
        (from_metres, "m3", "mm, cm, m, in or ft"),
        (to_cubic_metres, "gal", "m3 or L"),
        (from_cubic_metres, "m", "m3 or L"),
    ],
)
def test_unknown_unit_is_refused_and_those_known_are_named(turn, unit, named):
    with pytest.raises(UnknownUnit, match=f"“{unit}”.*{named}") as refusal:
        turn(1.0, unit)
    assert refusal.value.unit == unit


def test_factors_are_listed_per_unit():
    assert {unit: Decimal(str(factor)) for unit, factor in LENGTH_UNITS.items()} == {
        unit: Decimal(factor) for unit, factor in EXACT.items()
    }
    assert VOLUME_UNITS == {"m3": 1.0, "L": 0.001}
