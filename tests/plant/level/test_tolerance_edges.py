"""The smallest spans and tolerances that are taken."""

from __future__ import annotations

import pytest

from plant.level.signals import FOUR_TO_TWENTY
from plant.level.tolerance import equivalent_tolerance


def test_a_span_below_a_metre_is_a_span():
    assert equivalent_tolerance(1, "%", span=0.4, signal=FOUR_TO_TWENTY).millimetres == 4.0


def test_a_tolerance_of_zero_is_taken():
    assert equivalent_tolerance(0, "mm", span=8.0, signal=FOUR_TO_TWENTY).percent == 0.0


@pytest.mark.parametrize(("value", "span"), [(-0.001, 8.0), (1.0, 0.0), (1.0, -8.0)])
def test_below_zero_neither_is_taken(value, span):
    with pytest.raises(ValueError, match=r"tolerance|span"):
        equivalent_tolerance(value, "mm", span=span, signal=FOUR_TO_TWENTY)
