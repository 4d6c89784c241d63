"""What the page of a tank shows: its points, the level asked for, the drawing to scale."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from django.db.models import F, FilteredRelation, Q
from django.utils import timezone

from plant.level.units import from_cubic_metres, from_metres
from plant.points.geometry import (
    HeightLine,
    capacity,
    expected_signal,
    height_lines,
    inside_height,
    lowest_height,
    volume_at,
)
from plant.points.models import MeasuringPoint
from plant.quantities import quantity
from plant.tanks.drawn_points import tank_drawing
from plant.tanks.geometry import Geometry
from plant.tanks.models import Tank

CHANGES_SHOWN = 5


@dataclass(frozen=True)
class TankPoint:
    """A point of the tank's page: the row, its table of heights, and what it shows at the level
    asked for.
    """

    point: MeasuringPoint
    lines: list[HeightLine]
    shows: float | None


def drawn_to_scale(row: Tank, geometry: Geometry, *, asked: str) -> dict[str, Any]:
    """The drawing and the tables beneath it, at the level asked for; "" asks for none."""
    points = list(_points_of(row))
    today = row.site.day_of(timezone.now())
    for point in points:
        point.status_now = point.status(today)
    level, trouble = _level_of(asked, row, geometry)
    volume = None if level is None else volume_at(geometry, level + row.datum_m)
    return {
        "asked": asked,
        "asked_trouble": trouble,
        "level": level,
        "volume": volume,
        "share": None if volume is None else 100 * volume / capacity(geometry),
        "tank_points": [_tank_point(point, geometry, level) for point in points],
        "drawing": tank_drawing(row, geometry, points, level),
    }


def _points_of(row: Tank) -> Any:
    present = FilteredRelation("installations", condition=Q(installations__removed_on=None))
    points = MeasuringPoint.objects.filter(tank=row).select_related("tank")
    return points.annotate(
        present=present,
        principle=F("present__transmitter__principle"),
        wiring=F("present__transmitter__wiring"),
        probe_mm=F("present__transmitter__probe_length_mm"),
        serial=F("present__transmitter__serial"),
        transmitter_id=F("present__transmitter_id"),
    )


def _level_of(asked: str, row: Tank, geometry: Geometry) -> tuple[float | None, str]:
    """The level in metres above the datum plate, and what is wrong with what was typed."""
    if not asked:
        return None, ""
    low, high = lowest_height(geometry) - row.datum_m, inside_height(geometry) - row.datum_m
    try:
        level = float(Decimal(asked.replace("\u2212", "-")))
    except (InvalidOperation, ValueError):
        return None, "Write a level in metres, such as 4.35."
    if not low <= level <= high:
        run = f"{quantity(low, 'm')} to {quantity(high, 'm')} m"
        return None, f"Levels in this tank run from {run}."
    return level, ""


def _tank_point(point: MeasuringPoint, geometry: Geometry, level: float | None) -> TankPoint:
    shows = None
    if level is not None:
        applied = (
            from_cubic_metres(volume_at(geometry, level + point.tank.datum_m), point.unit)
            if point.quantity == "volume"
            else from_metres(level, point.unit)
        )
        shows = float(expected_signal(point, applied))
    return TankPoint(point, height_lines(point, geometry), shows)
