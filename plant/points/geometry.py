"""What a correct measuring point shows at each height of its tank, from the rows of the register.

Two heights must not be mixed up. A *level* counts from the datum plate, as people dip it; the cores
count *z* from the lowest inside point. z = level + datum, here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from plant.level import units
from plant.level.arrays import Floats
from plant.level.signals import signal_at, value_at
from plant.level.strapping import Strapping
from plant.level.tanks import (
    capacity,
    height_at,
    inside_height,
    volume_at,
)
from plant.points.models import MeasuringPoint
from plant.points.refusals import RangeOutsideTank, UnitOfAnotherQuantity
from plant.quantities import quantity, symbol
from plant.tanks.geometry import SLACK_M, SLACK_SHARE, Geometry


def in_base(point: MeasuringPoint, value: Any) -> Any:
    """A value (or array) in the point's unit, in metres of level or in m³."""
    convert = units.to_cubic_metres if point.quantity == "volume" else units.to_metres
    return convert(value, point.unit)


def expected_signal(point: MeasuringPoint, applied: Floats) -> Floats:
    """mA or V of a correct transmitter at ``applied``, a value or array in the point's own unit;
    never clamped.
    """
    return signal_at(
        applied, lower=float(point.lower), upper=float(point.upper), signal=point.output
    )


def indicated(point: MeasuringPoint, observed: Floats) -> Floats:
    """The value in the point's own unit that a signal of ``observed`` mA or V stands for."""
    return value_at(
        observed, lower=float(point.lower), upper=float(point.upper), signal=point.output
    )


def level_at(point: MeasuringPoint, geometry: Geometry, applied: Floats) -> Floats:
    """Level in metres above the datum plate at an applied value in the point's unit."""
    base = in_base(point, applied)
    return height_at(geometry, base) - point.tank.datum_m if point.quantity == "volume" else base


@dataclass(frozen=True)
class HeightLine:
    """One line of a point's table: level in m above the datum plate, m³, and mA or V; None where
    nothing is known.
    """

    percent: float
    level: float | None
    volume: float | None
    signal: float | None


def height_lines(point: MeasuringPoint, geometry: Geometry, steps: int = 5) -> list[HeightLine]:
    """What the tank holds and what a correct transmitter shows, at equal steps over the
    range.
    """
    percents = np.linspace(0.0, 100.0, steps)
    lower, upper = float(point.lower), float(point.upper)
    applied = lower + (upper - lower) * percents / 100
    base, datum = in_base(point, applied), point.tank.datum_m
    low, high = _known(geometry, point.quantity)
    if point.quantity == "volume":
        volumes, levels = base, _where_known(height_at, geometry, base, low, high) - datum
    else:
        levels, volumes = base, _where_known(volume_at, geometry, base + datum, low, high)
    columns = zip(percents.tolist(), levels, volumes, expected_signal(point, applied), strict=True)
    return [HeightLine(p, *map(_or_none, row)) for p, *row in columns]


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _known(geometry: Geometry, quantity: str) -> tuple[float, float]:
    """Between which volumes, or heights above the lowest point, the tank is known."""
    if quantity == "volume":
        return (geometry.volumes[0] if isinstance(geometry, Strapping) else 0.0), capacity(geometry)
    return lowest_height(geometry), inside_height(geometry)


def lowest_height(geometry: Geometry) -> float:
    """The z in metres from which volumes are known: a strapping table may begin above the lowest
    point.
    """
    return geometry.heights[0] if isinstance(geometry, Strapping) else 0.0


def _where_known(
    function: Callable[[Geometry, Floats], Floats],
    geometry: Geometry,
    values: np.ndarray,
    low: float,
    high: float,
) -> np.ndarray:
    """``function`` of each value; not-a-number outside the tank. What only typed digits push past
    it is pulled back.
    """
    slack = max(SLACK_M, high * SLACK_SHARE)
    results = np.asarray(function(geometry, np.clip(values, low, high)), dtype=float)
    return np.where((values < low - slack) | (values > high + slack), np.nan, results)


def refuse_range_outside(point: MeasuringPoint) -> None:
    """Refuse a range that leaves the tank, naming the end that does and what would fit."""
    tank = point.tank
    if point.quantity == "volume":
        low, high, slack = 0.0, tank.capacity_m3, tank.capacity_m3 * SLACK_SHARE
    else:
        low, high, slack = -tank.datum_m, tank.inside_height_m - tank.datum_m, SLACK_M
    if point.unit not in (units.VOLUME_UNITS if point.quantity == "volume" else units.LENGTH_UNITS):
        raise UnitOfAnotherQuantity
    for field, end in (("lower", "LRV"), ("upper", "URV")):
        value = float(in_base(point, getattr(point, field)))
        if not low - slack <= value <= high + slack:
            raise _outside(point, end, getattr(point, field), low, high)


def _outside(
    point: MeasuringPoint, end: str, value: Decimal, low: float, high: float
) -> RangeOutsideTank:
    volume = point.quantity == "volume"
    convert = units.from_cubic_metres if volume else units.from_metres
    lowest, highest = (quantity(convert(edge, point.unit), point.unit) for edge in (low, high))
    return RangeOutsideTank(
        end=end,
        value=value,
        unit=symbol(point.unit),
        tank=point.tank,
        counted="volumes in it" if volume else "levels in it, counted from the datum plate,",
        lowest=lowest,
        highest=highest,
    )
