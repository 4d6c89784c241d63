"""What stands in the way of a tank's dimensions and levels."""

from __future__ import annotations

from plant.refusals import Refused


class AreaMissing(Refused):
    sentence = "Name the area the tank stands in."
    of_field = "area_name"


class ImpossibleDimension(Refused):
    """``dimension`` is the one that is missing or makes no tank; ``reason`` says why."""

    def __init__(self, dimension: str, reason: str) -> None:
        text = f"{reason[:1].upper()}{reason[1:]}."
        super().__init__(text, field=dimension, dimension=dimension, reason=reason)


class ImpossibleStrapping(Refused):
    sentence = "{reason}"
    of_field = "strapping"


class DatumOutsideTank(Refused):
    sentence = "The datum plate must lie inside the tank, 0 to {top}."
    of_field = "datum"


class LevelOutsideTank(Refused):
    sentence = (
        "Outside the tank: counted from the datum plate its levels run from {lowest} to {highest}."
    )
