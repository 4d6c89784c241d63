"""Limits of heights and volumes: what lies outside the tank is refused, never moved to the edge."""

from __future__ import annotations

import numpy as np

from plant.level.arrays import Floats

# Changing units rounds: a value beyond an end by this share of the whole is the end itself.
ROUNDING = 1e-12


class OutsideTank(ValueError):
    """A height or volume that the tank cannot hold.

    Attributes: value, lowest, highest, unit (m or m³).
    """

    def __init__(self, what: str, value: float, lowest: float, highest: float, unit: str) -> None:
        self.value, self.lowest, self.highest, self.unit = value, lowest, highest, unit
        super().__init__(
            f"{what} {value:.6g} {unit} is outside the tank, which goes from {lowest:.6g} to "
            f"{highest:.6g} {unit}."
        )


def heights_inside(heights: Floats, lowest: float, highest: float) -> np.ndarray:
    """The heights as an array, m.

    Raises OutsideTank for the first that is not inside, NaN included.
    """
    return _inside("height", heights, lowest, highest, "m")


def volumes_inside(volumes: Floats, lowest: float, highest: float) -> np.ndarray:
    """The volumes as an array, m³.

    Raises OutsideTank for the first that is not inside, NaN included.
    """
    return _inside("volume", volumes, lowest, highest, "m³")


def _inside(what: str, values: Floats, lowest: float, highest: float, unit: str) -> np.ndarray:
    array = np.asarray(values, dtype=float)
    slack = ROUNDING * max(abs(lowest), abs(highest))
    inside = (array >= lowest - slack) & (array <= highest + slack)
    if not inside.all():
        raise OutsideTank(what, float(array[~inside].flat[0]), lowest, highest, unit)
    return np.clip(array, lowest, highest)
