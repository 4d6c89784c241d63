"""From the register's rows to the pure cores: a tank's geometry, and what a correct point shows at each height.

Two heights must not be mixed up. A *level* counts from the datum plate, as people dip it; the cores count *z* from the
lowest inside point. z = level + datum, here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from plant.level import units
from plant.level.arrays import Floats
from plant.level.signals import signal_at, value_at
from plant.level.strapping import BadStrapping, Strapping
from plant.level.tanks import (
    BadDimension,
    TankShape,
    capacity,
    height_at,
    inside_height,
    outline,
    volume_at,
)
from plant.models import MeasuringPoint, Tank
from plant.refusals import Refused
from plant.templatetags.quantities import quantity, symbol

Geometry = TankShape | Strapping
Rows = Sequence[tuple[Decimal, Decimal]]

SLACK_M, SLACK_SHARE = 1e-5, 1e-6
"""Typed digits are rounded: so much may a range reach past the tank. The database's rule has the same."""


# ---- the tank ----
def geometry_of(tank: Tank, strapping: Rows | None = None) -> Geometry:
    """The tank as the cores know it, in metres. ``strapping``: rows not yet stored, in the tank's unit and m³.

    Raises Refused, with the form field, where dimensions are missing or make no tank.
    """
    if tank.shape == Tank.Shape.STRAPPED:
        return _strapping_of(tank, strapping)
    try:
        return TankShape(
            kind=tank.shape,
            diameter=tank.metres(tank.diameter),
            height=tank.metres(tank.height),
            length=tank.metres(tank.length),
            width=tank.metres(tank.width),
            bottom=tank.bottom,
            bottom_depth=tank.metres(tank.bottom_depth),
            roof=tank.roof,
            roof_depth=tank.metres(tank.roof_depth),
        )
    except BadDimension as error:
        raise Refused(
            f"{error.reason[:1].upper()}{error.reason[1:]}.", field=error.argument
        ) from error


def derive(tank: Tank, strapping: Rows | None = None) -> None:
    """Set ``inside_height_m`` and ``capacity_m3`` from the dimensions; see geometry_of for what is refused.

    Also refuses a datum or working levels outside the tank.
    """
    geometry = geometry_of(tank, strapping)
    tank.inside_height_m, tank.capacity_m3 = inside_height(geometry), capacity(geometry)
    _refuse_levels_outside(tank)


def outline_of(geometry: Geometry) -> list[tuple[float, float]]:
    """(x, z) round the tank in metres. A strapped tank is drawn as the round one that has its volumes."""
    if isinstance(geometry, TankShape):
        return outline(geometry)
    heights, volumes = np.array(geometry.heights), np.array(geometry.volumes)
    if heights[0] > 0:
        heights, volumes = np.insert(heights, 0, 0.0), np.insert(volumes, 0, 0.0)
    radii = np.sqrt(np.diff(volumes) / np.diff(heights) / np.pi)
    right = [
        (float(radius), float(z))
        for radius, low, high in zip(radii, heights[:-1], heights[1:], strict=True)
        for z in (low, high)
    ]
    return right + [(-x, z) for x, z in reversed(right)]


def _strapping_of(tank: Tank, rows: Rows | None) -> Strapping:
    if rows is None:
        rows = (
            list(tank.strapping.order_by("height").values_list("height", "volume_m3"))
            if tank.pk
            else []
        )
    try:
        return Strapping(
            tuple(float(units.to_metres(height, tank.unit)) for height, _ in rows),
            tuple(float(volume) for _, volume in rows),
        )
    except BadStrapping as error:
        raise Refused(str(error), field="strapping") from error


def _refuse_levels_outside(tank: Tank) -> None:
    top, datum = tank.inside_height_m, tank.datum_m
    if not -SLACK_M <= datum < top:
        raise Refused(
            f"The datum plate must lie inside the tank, 0 to {_in_unit(tank, top)}.", field="datum"
        )
    for name in ("lowest_level", "highest_level"):
        level = tank.metres(getattr(tank, name))
        if level is not None and not -datum - SLACK_M <= level <= top - datum + SLACK_M:
            raise Refused(
                f"Outside the tank: counted from the datum plate its levels run from {_in_unit(tank, -datum)} "
                f"to {_in_unit(tank, top - datum)}.",
                field=name,
            )


def _in_unit(tank: Tank, metres: float) -> str:
    return f"{quantity(units.from_metres(metres, tank.unit), tank.unit)} {tank.unit}"


# ---- the point ----
def in_base(point: MeasuringPoint, value: Any) -> Any:
    """A value (or array) in the point's unit, in metres of level or in m³."""
    convert = units.to_cubic_metres if point.quantity == "volume" else units.to_metres
    return convert(value, point.unit)


def expected_signal(point: MeasuringPoint, applied: Floats) -> Floats:
    """mA or V of a correct transmitter at ``applied``, a value or array in the point's own unit; never clamped."""
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
    """One line of a point's table: level in m above the datum plate, m³, and mA or V; None where nothing is known."""

    percent: float
    level: float | None
    volume: float | None
    signal: float | None


def height_lines(point: MeasuringPoint, geometry: Geometry, steps: int = 5) -> list[HeightLine]:
    """What stands in the tank and what a correct transmitter shows, at equal steps over the range."""
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
    """The z in metres from which volumes are known: a strapping table may begin above the lowest point."""
    return geometry.heights[0] if isinstance(geometry, Strapping) else 0.0


def _where_known(
    function: Callable[[Geometry, Floats], Floats],
    geometry: Geometry,
    values: np.ndarray,
    low: float,
    high: float,
) -> np.ndarray:
    """``function`` of each value; not-a-number outside the tank. What only typed digits push past it is pulled back."""
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
        raise Refused("Level needs mm, cm, m, in or ft; volume needs m³ or L.", field="unit")
    for field, name in (("lower", "LRV"), ("upper", "URV")):
        value = float(in_base(point, getattr(point, field)))
        if not low - slack <= value <= high + slack:
            raise Refused(_outside(point, name, getattr(point, field), low, high), field=field)


def _outside(point: MeasuringPoint, name: str, value: Decimal, low: float, high: float) -> str:
    volume = point.quantity == "volume"
    convert = units.from_cubic_metres if volume else units.from_metres
    edges = [quantity(convert(edge, point.unit), point.unit) for edge in (low, high)]
    unit = symbol(point.unit)
    counted = "volumes in it" if volume else "levels in it, counted from the datum plate,"
    return (
        f"{name} {value} {unit} lies outside tank {point.tank}: {counted} run from {edges[0]} to {edges[1]} {unit}. "
        "Correct the range, or the tank's dimensions if they are wrong."
    )
