"""Volumes and outlines of the usual tanks.

Metres and cubic metres; z = 0 is the lowest inside point. Nothing is clamped: a height outside the
tank raises OutsideTank. The functions take a TankShape or, where only measured heights are known,
a Strapping.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plant.level.arrays import Floats, float_or_array
from plant.level.bounds import OutsideTank, heights_inside, volumes_inside
from plant.level.checks import BadArgument
from plant.level.heads import Cone, Dished, Ellipsoid, Head
from plant.level.solids import HorizontalTank, RectangularTank, VerticalTank
from plant.level.strapping import Strapping

__all__ = [
    "BadDimension",
    "OutsideTank",
    "TankShape",
    "capacity",
    "height_at",
    "inside_height",
    "outline",
    "volume_at",
]

# A common proportion of dished heads: dish radius 1.0, knuckle radius 0.06 of the tank's diameter
# (the proportions of the printed examples TNK-03).
DISH, KNUCKLE = 1.0, 0.06
HALVINGS = 60


class BadDimension(BadArgument):
    """A dimension that is missing or gives no tank. Attributes: argument, reason."""


@dataclass(frozen=True)
class TankShape:
    """A tank by its inside dimensions in metres; 0 or None where one is not given.

    kind: vertical (cylinder: diameter, straight height, bottom, roof), horizontal (cylinder:
    diameter, straight length in ``length`` or ``height``; one end is ``bottom``, the other
    ``far_end`` where that is given, else the same), rectangular (length, width, height) or sphere
    (diameter). Dimensions that a kind does not have are ignored.
    bottom, roof: flat, cone, dished, ellipsoidal or hemispherical; a roof may also be open. Depths
    without a number: dished by DISH and the knuckle, ellipsoidal half the radius, hemispherical
    the radius; a cone needs one.
    knuckle: radius of a dished head's knuckle over the diameter; 0 is a plain spherical cap.
    Raises BadDimension.

    >>> cone = TankShape("vertical", diameter=2.0, height=3.0, bottom="cone", bottom_depth=0.6)
    >>> round(capacity(cone), 6)
    10.053096
    """

    kind: str
    diameter: float | None = None
    height: float | None = None
    length: float | None = None
    width: float | None = None
    bottom: str = "flat"
    bottom_depth: float | None = None
    roof: str = "flat"
    roof_depth: float | None = None
    far_end: str = ""
    far_end_depth: float | None = None
    knuckle: float = KNUCKLE

    def __post_init__(self) -> None:
        _ = self.body  # Refuses what gives no tank.

    @cached_property
    def body(self) -> VerticalTank | HorizontalTank | RectangularTank:
        """The solid behind the dimensions."""
        makers: dict[
            str, Callable[[TankShape], VerticalTank | HorizontalTank | RectangularTank]
        ] = {
            "vertical": _vertical,
            "horizontal": _horizontal,
            "rectangular": _rectangular,
            "sphere": _sphere,
        }
        if self.kind not in makers:
            raise BadDimension("kind", f"“{self.kind}” is none of {', '.join(makers)}")
        return makers[self.kind](self)


def inside_height(shape: TankShape | Strapping) -> float:
    """From the lowest to the highest inside point, m; of a strapping table, its highest height."""
    return shape.inside_height if isinstance(shape, Strapping) else shape.body.height


def capacity(shape: TankShape | Strapping) -> float:
    """Volume of the tank filled to its inside height, m³."""
    if isinstance(shape, Strapping):
        return shape.capacity
    return float(shape.body.volume(np.float64(shape.body.height)))


def volume_at(shape: TankShape | Strapping, heights: Floats) -> Floats:
    """m³ below each height, in metres above the lowest point; the shape of ``heights``.

    Raises OutsideTank.

    >>> round(volume_at(TankShape("sphere", diameter=2.0), 1.0), 9)
    2.094395102
    """
    if isinstance(shape, Strapping):
        return shape.volume_at(heights)
    return float_or_array(shape.body.volume(heights_inside(heights, 0.0, shape.body.height)))


def height_at(shape: TankShape | Strapping, volumes: Floats) -> Floats:
    """Height in m above the lowest point of each volume, m³; the inverse of volume_at.

    The shape of ``volumes``. Raises OutsideTank. Close to a tip that points up the volume hardly
    changes with height: there the height carries fewer digits than the volume.
    """
    if isinstance(shape, Strapping):
        return shape.height_at(volumes)
    wanted = volumes_inside(volumes, 0.0, capacity(shape))
    # Halving needs no slope and no luck, and every volume takes the same number of steps.
    low, high = np.zeros_like(wanted), np.full_like(wanted, shape.body.height)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        too_low = shape.body.volume(middle) < wanted
        low, high = np.where(too_low, middle, low), np.where(too_low, high, middle)
    return float_or_array(np.where(wanted > 0, high, 0.0))


def outline(shape: TankShape) -> list[tuple[float, float]]:
    """Corners (x, z) in metres of the drawn cross-section.

    Once round from the bottom up the right side; the last corner joins the first. x = 0 is the
    middle, z = 0 the lowest inside point; curves are followed in short lines.

    >>> outline(TankShape("rectangular", length=4.0, width=2.0, height=3.0))
    [(2.0, 0.0), (2.0, 3.0), (-2.0, 3.0), (-2.0, 0.0)]
    """
    levels = np.unique(shape.body.corners().clip(0.0, shape.body.height))
    right, left = (
        list(zip(np.asarray(side).tolist(), levels.tolist(), strict=True))
        for side in shape.body.reach(levels)
    )
    return right + [(-x, z) for x, z in reversed(left) if x > 0]


# ---- from dimensions to bodies ----
def _vertical(shape: TankShape) -> VerticalTank:
    radius = _needed(shape, "diameter") / 2
    straight = _needed(shape, "height")
    roof = "flat" if shape.roof == "open" else shape.roof
    return VerticalTank(
        _head("bottom", shape.bottom, radius, shape.bottom_depth, shape.knuckle),
        straight,
        _head("roof", roof, radius, shape.roof_depth, shape.knuckle),
    )


def _horizontal(shape: TankShape) -> HorizontalTank:
    radius = _needed(shape, "diameter") / 2
    if shape.length and shape.height and shape.length != shape.height:
        raise BadDimension(
            "length", "a horizontal tank has one straight length; leave the height empty"
        )
    straight = _needed(shape, "height" if shape.height else "length")
    near = _head("bottom", shape.bottom, radius, shape.bottom_depth, shape.knuckle)
    if not shape.far_end:
        return HorizontalTank(near, straight, near)
    far = _head("far_end", shape.far_end, radius, shape.far_end_depth, shape.knuckle)
    return HorizontalTank(near, straight, far)


def _rectangular(shape: TankShape) -> RectangularTank:
    return RectangularTank(*(_needed(shape, name) for name in ("length", "width", "height")))


def _sphere(shape: TankShape) -> VerticalTank:
    radius = _needed(shape, "diameter") / 2
    half = Ellipsoid(radius, radius)
    return VerticalTank(half, 0.0, half)


def _needed(shape: TankShape, argument: str) -> float:
    value = getattr(shape, argument) or 0.0
    if not (math.isfinite(value) and value > 0):
        raise BadDimension(argument, f"a {shape.kind} tank needs a number above zero here")
    return float(value)


def _head(argument: str, kind: str, radius: float, depth: float | None, knuckle: float) -> Head:
    """The head of a tank of this radius; ``argument`` names it where it is refused."""
    depth = depth or 0.0
    if not (math.isfinite(depth) and depth >= 0):
        raise BadDimension(f"{argument}_depth", "it must be a number, zero or above")
    makers = {
        "flat": _flat,
        "cone": _cone,
        "dished": _dished,
        "ellipsoidal": _ellipsoidal,
        "hemispherical": _hemispherical,
    }
    if kind not in makers:
        raise BadDimension(argument, f"“{kind}” is none of {', '.join(makers)}")
    return makers[kind](argument, radius, depth, knuckle)


def _flat(argument: str, radius: float, depth: float, _: float) -> Head:
    if depth:
        raise BadDimension(f"{argument}_depth", "a flat or open end has no depth; leave it empty")
    return Head(radius)


def _cone(argument: str, radius: float, depth: float, _: float) -> Head:
    if not depth:
        raise BadDimension(f"{argument}_depth", "a cone needs its depth")
    return Cone(radius, depth)


def _ellipsoidal(_: str, radius: float, depth: float, __: float) -> Head:
    return Ellipsoid(radius, depth or radius / 2)


def _hemispherical(argument: str, radius: float, depth: float, _: float) -> Head:
    if depth and abs(depth - radius) > 1e-4 * radius:
        raise BadDimension(
            f"{argument}_depth",
            f"a hemisphere is half the diameter deep, {radius:g} m; leave it empty",
        )
    return Ellipsoid(radius, radius)


def _dished(argument: str, radius: float, depth: float, knuckle: float) -> Head:
    if not 0 <= knuckle < 0.5:
        raise BadDimension("knuckle", "its radius over the diameter must be from 0 to below 0.5")
    k = 2 * knuckle * radius
    ring = radius - k
    if not depth:
        crown = 2 * DISH * radius
        return Dished(radius, crown - math.sqrt((crown - k) ** 2 - ring**2), crown, k)
    if not k < depth <= radius:
        raise BadDimension(
            f"{argument}_depth",
            f"a dished end of this diameter is deeper than its knuckle, {k:g} m, "
            f"and no deeper than {radius:g} m",
        )
    # The one sphere about the axis that touches the knuckle and reaches the depth.
    return Dished(radius, depth, (ring**2 + depth**2 - k * k) / (2 * (depth - k)), k)
