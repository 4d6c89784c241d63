import math

import pytest

from plant.level.signals import FOUR_TO_TWENTY, ONE_TO_FIVE
from plant.level.tolerance import UnitDoesNotFit, equivalent_tolerance


def test_tolerance_in_millimetres_converts_to_every_unit_of_a_level_point():
    tolerance = equivalent_tolerance(4, "mm", span=8.0, signal=FOUR_TO_TWENTY)
    assert tolerance.percent == pytest.approx(0.05)
    assert tolerance.millimetres == pytest.approx(4)
    assert tolerance.milliamps == pytest.approx(0.008)
    assert tolerance.cubic_metres is None


def test_tolerance_in_milliamperes_converts_to_millimetres():
    tolerance = equivalent_tolerance(0.08, "mA", span=4.0, signal=FOUR_TO_TWENTY)
    assert tolerance.percent == pytest.approx(0.5)
    assert tolerance.millimetres == pytest.approx(20)


def test_tolerance_in_litres_converts_to_per_cent_of_a_span_in_cubic_metres():
    tolerance = equivalent_tolerance(250, "L", span=50.0, signal=FOUR_TO_TWENTY, quantity="volume")
    assert tolerance.percent == pytest.approx(0.5)
    assert tolerance.cubic_metres == pytest.approx(0.25)
    assert tolerance.millimetres is None


@pytest.mark.parametrize(
    ("unit", "field"), [("%", "percent"), ("mm", "millimetres"), ("mA", "milliamps")]
)
def test_tolerance_keeps_the_value_in_its_own_unit(unit, field):
    tolerance = equivalent_tolerance(0.37, unit, span=3.2, signal=FOUR_TO_TWENTY)
    assert getattr(tolerance, field) == pytest.approx(0.37, rel=1e-14)


@pytest.mark.parametrize(("unit", "cubic_metres"), [("m3", 0.37), ("L", 0.00037)])
def test_tolerance_of_a_volume_point_keeps_its_volume(unit, cubic_metres):
    tolerance = equivalent_tolerance(0.37, unit, span=3.2, signal=ONE_TO_FIVE, quantity="volume")
    assert tolerance.cubic_metres == pytest.approx(cubic_metres, rel=1e-14)


@pytest.mark.parametrize(
    ("unit", "quantity", "signal", "named"),
    [
        ("mm", "volume", FOUR_TO_TWENTY, "%, m3, L or mA"),
        ("L", "level", FOUR_TO_TWENTY, "%, mm or mA"),
        ("mA", "level", ONE_TO_FIVE, "% or mm"),
    ],
)
def test_unit_that_does_not_fit_the_point_is_refused_and_those_that_fit_are_named(
    unit, quantity, signal, named
):
    with pytest.raises(UnitDoesNotFit, match=f"“{unit}” does not fit this point; write {named}$"):
        equivalent_tolerance(1, unit, span=2.0, signal=signal, quantity=quantity)


@pytest.mark.parametrize("value", [-0.1, math.nan, math.inf])
def test_tolerance_below_zero_or_missing_is_refused(value):
    with pytest.raises(ValueError, match=r"tolerance .* zero or above"):
        equivalent_tolerance(value, "%", span=2.0, signal=FOUR_TO_TWENTY)


@pytest.mark.parametrize("span", [0.0, -2.0, math.nan])
def test_span_not_above_zero_is_refused(span):
    with pytest.raises(ValueError, match=r"span .* above zero"):
        equivalent_tolerance(1, "%", span=span, signal=FOUR_TO_TWENTY)


def test_adjust_limit_of_zero_is_a_limit():
    assert equivalent_tolerance(0, "mm", span=2.0, signal=FOUR_TO_TWENTY).percent == 0
