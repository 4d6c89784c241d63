"""A tank of the register as the pure cores know it: its geometry, outline, capacity."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np

from plant.level import units
from plant.level.strapping import BadStrapping, Strapping
from plant.level.tanks import (
    BadDimension,
    TankShape,
    capacity,
    inside_height,
    outline,
)
from plant.quantities import quantity
from plant.tanks.models import Tank
from plant.tanks.refusals import (
    DatumOutsideTank,
    ImpossibleDimension,
    ImpossibleStrapping,
    LevelOutsideTank,
)

SLACK_M, SLACK_SHARE = 1e-5, 1e-6
"""Typed digits are rounded: so much may a range reach past the tank. The database's rule has the
same.
"""

Geometry = TankShape | Strapping

Rows = Sequence[tuple[Decimal, Decimal]]


def geometry_of(tank: Tank, strapping: Rows | None = None) -> Geometry:
    """The tank as the cores know it, in metres. ``strapping``: rows not yet stored, in the tank's
    unit and m³.

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
            far_end=tank.far_end,
            far_end_depth=tank.metres(tank.far_end_depth),
        )
    except BadDimension as error:
        raise ImpossibleDimension(error.argument, error.reason) from error


def derive(tank: Tank, strapping: Rows | None = None) -> None:
    """Set ``inside_height_m`` and ``capacity_m3`` from the dimensions; see geometry_of for what is
    refused.

    Also refuses a datum or working levels outside the tank.
    """
    geometry = geometry_of(tank, strapping)
    tank.inside_height_m, tank.capacity_m3 = inside_height(geometry), capacity(geometry)
    _refuse_levels_outside(tank)


def outline_of(geometry: Geometry) -> list[tuple[float, float]]:
    """(x, z) round the tank in metres. A strapped tank is drawn as the round one that has its
    volumes.
    """
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
        raise ImpossibleStrapping(reason=str(error)) from error


def _refuse_levels_outside(tank: Tank) -> None:
    top, datum = tank.inside_height_m, tank.datum_m
    if not -SLACK_M <= datum < top:
        raise DatumOutsideTank(top=in_tank_unit(tank, top))
    for name in ("lowest_level", "highest_level"):
        level = tank.metres(getattr(tank, name))
        if level is not None and not -datum - SLACK_M <= level <= top - datum + SLACK_M:
            edges = {"lowest": -datum, "highest": top - datum}
            texts = {edge: in_tank_unit(tank, at) for edge, at in edges.items()}
            raise LevelOutsideTank(field=name, **texts)


def in_tank_unit(tank: Tank, metres: float) -> str:
    return f"{quantity(units.from_metres(metres, tank.unit), tank.unit)} {tank.unit}"
