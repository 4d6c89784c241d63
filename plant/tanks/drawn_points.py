"""The points of a tank as they are drawn in it."""

from __future__ import annotations

from typing import Any

from plant.pages.digits import plain
from plant.points.geometry import (
    height_lines,
    inside_height,
    lowest_height,
)
from plant.quantities import quantity, with_unit
from plant.tanks.drawing import Drawing, DrawnPoint, draw_tank
from plant.tanks.geometry import Geometry, outline_of
from plant.tanks.models import Tank
from plant.transmitters.models import Principle

FROM_BELOW = {Principle.HYDROSTATIC, Principle.DIFFERENTIAL_PRESSURE}


TOUCHES_NOTHING = {Principle.RADAR, Principle.ULTRASONIC}


def tank_drawing(row: Tank, geometry: Geometry, points: list[Any], level: float | None) -> Drawing:
    """The tank to scale with all its points, and the surface at the level in metres above the datum
    plate.
    """
    return draw_tank(
        outline_of(geometry),
        [_drawn(point, geometry, alone=len(points) == 1) for point in points],
        inside_height=inside_height(geometry),
        datum=row.datum_m,
        surface=level,
        surface_label="" if level is None else f"at {with_unit(quantity(level, 'm'), 'm')}",
        conducting=row.wall_conducts,
    )


def _drawn(point: Any, geometry: Geometry, *, alone: bool) -> DrawnPoint:
    lowest = lowest_height(geometry) - point.tank.datum_m
    lower, upper = (
        lowest if line.level is None else line.level for line in height_lines(point, geometry, 2)
    )
    signal = point.output
    # Beside several tags there is no room for the output too; the tables tell it.
    labels = [
        with_unit(plain(value), point.unit) + (f", {end:g} {signal.unit}" if alone else "")
        for value, end in ((point.lower, signal.low), (point.upper, signal.high))
    ]
    return DrawnPoint(
        tag=point.tag,
        lower=lower,
        upper=upper,
        reach=_reach(point, geometry, min(lower, upper)),
        bottom=point.principle in FROM_BELOW,
        lower_label=labels[0],
        upper_label=labels[1],
    )


def _reach(point: Any, geometry: Geometry, lowest: float) -> float | None:
    """Where the probe ends: by its length from the roof, but not above the lower end of the range,
    which it reaches.
    """
    if point.principle is None or point.principle in TOUCHES_NOTHING:
        return None
    if point.probe_mm is None:
        return lowest
    tip = max(inside_height(geometry) - float(point.probe_mm) / 1000, 0.0) - point.tank.datum_m
    return min(tip, lowest)
