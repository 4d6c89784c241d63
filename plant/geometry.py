"""From a tank of the register to its geometry."""

from __future__ import annotations

from plant.level import tanks
from plant.level.strapping import Strapping
from plant.level.tanks import TankShape
from plant.models import Tank


def geometry_of(tank: Tank) -> TankShape | Strapping:
    if tank.shape == Tank.Shape.STRAPPED:
        rows = list(tank.strapping.all())
        return Strapping(tuple(tank.metres(r.height) for r in rows), tuple(float(r.volume_m3) for r in rows))
    return TankShape(
        kind=tank.shape,
        diameter=tank.metres(tank.diameter) or 0.0,
        height=tank.metres(tank.height) or 0.0,
        length=tank.metres(tank.length) or 0.0,
        width=tank.metres(tank.width) or 0.0,
        bottom=tank.bottom,
        bottom_depth=tank.metres(tank.bottom_depth),
        roof=tank.roof,
        roof_depth=tank.metres(tank.roof_depth),
    )


def derive(tank: Tank) -> None:
    shape = geometry_of(tank)
    if isinstance(shape, Strapping):
        tank.inside_height_m, tank.capacity_m3 = shape.heights[-1], shape.volumes[-1]
    else:
        tank.inside_height_m, tank.capacity_m3 = tanks.inside_height(shape), tanks.capacity(shape)
