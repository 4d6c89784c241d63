"""Volumes of common tank shapes (metres, m³), by the fluids library's partial-fill formulas.

z = 0 is the lowest inside point. Nothing is clamped: a level outside the tank raises OutsideTank.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from fluids.geometry import TANK

SIDES = {
    "flat": None,
    "open": None,
    "cone": "conical",
    "dished": "torispherical",
    "ellipsoidal": "ellipsoidal",
    "hemispherical": "spherical",
}


class OutsideTank(ValueError):
    def __init__(self, level: float, inside_height: float) -> None:
        self.level, self.inside_height = level, inside_height
        super().__init__(f"level {level:g} m lies outside the tank, which is {inside_height:g} m high inside")


@dataclass(frozen=True)
class TankShape:
    """kind: vertical, horizontal, rectangular or sphere. height: straight height, or length of a horizontal one."""

    kind: str
    diameter: float = 0.0
    height: float = 0.0
    length: float = 0.0
    width: float = 0.0
    bottom: str = "flat"
    bottom_depth: float | None = None
    roof: str = "flat"
    roof_depth: float | None = None


@lru_cache(maxsize=512)
def _vessel(shape: TankShape) -> TANK:
    horizontal = shape.kind == "horizontal"
    if shape.kind == "sphere":
        r = shape.diameter / 2
        return TANK(D=shape.diameter, L=0.0, horizontal=False, sideA="spherical", sideB="spherical", sideA_a=r, sideB_a=r)
    ends = (shape.bottom, shape.bottom) if horizontal else (shape.bottom, shape.roof)
    depths = (shape.bottom_depth, shape.bottom_depth) if horizontal else (shape.bottom_depth, shape.roof_depth)
    facts = {}
    for side, end, depth in zip("AB", ends, depths, strict=True):
        facts[f"side{side}"] = SIDES[end]
        if SIDES[end] and end != "dished":
            default = shape.diameter / 2 if end == "hemispherical" else shape.diameter / 4
            facts[f"side{side}_a"] = depth if depth is not None else default
    return TANK(D=shape.diameter, L=shape.height, horizontal=horizontal, **facts)


def inside_height(shape: TankShape) -> float:
    if shape.kind == "rectangular":
        return shape.height
    return float(_vessel(shape).h_max)


def capacity(shape: TankShape) -> float:
    if shape.kind == "rectangular":
        return shape.length * shape.width * shape.height
    return float(_vessel(shape).V_total)


def volume_at(shape: TankShape, heights):
    h = np.asarray(heights, dtype=float)
    top = inside_height(shape)
    outside = (h < -1e-9) | (h > top + 1e-9)
    if np.any(outside):
        raise OutsideTank(float(np.atleast_1d(h)[np.atleast_1d(outside)][0]), top)
    h = np.clip(h, 0, top)
    if shape.kind == "rectangular":
        volume = shape.length * shape.width * h
    else:
        volume = np.vectorize(_vessel(shape).V_from_h, otypes=[float])(h)
    return float(volume) if np.ndim(volume) == 0 else volume


def height_at(shape: TankShape, volumes):
    v = np.asarray(volumes, dtype=float)
    if shape.kind == "rectangular":
        return v / (shape.length * shape.width)
    height = np.vectorize(lambda x: _vessel(shape).h_from_V(x) if x > 0 else 0.0, otypes=[float])(v)
    return float(height) if np.ndim(height) == 0 else height


def width_at(shape: TankShape, heights):
    points = outline(shape)
    right = sorted((z, x) for x, z in points if x >= 0)
    return np.interp(heights, [z for z, _ in right], [2 * x for _, x in right])


def outline(shape: TankShape) -> list[tuple[float, float]]:
    top = inside_height(shape)
    if shape.kind == "rectangular":
        w = shape.length / 2
        return [(-w, 0), (w, 0), (w, top), (-w, top)]
    if shape.kind == "sphere":
        r = shape.diameter / 2
        t = np.linspace(-np.pi / 2, 3 * np.pi / 2, 73)[:-1]
        return [(float(r * np.cos(a)), float(r + r * np.sin(a))) for a in t]
    if shape.kind == "horizontal":
        w = shape.height / 2
        return [(-w, 0), (w, 0), (w, top), (-w, top)]
    r = shape.diameter / 2
    vessel = _vessel(shape)
    low, high = float(vessel.sideA_a or 0), float(vessel.sideB_a or 0)

    def end(kind: str, depth: float) -> list[tuple[float, float]]:
        if kind in ("flat", "open") or depth == 0:
            return [(r, 0.0)]
        if kind == "cone":
            return [(0.0, depth), (r, 0.0)]
        t = np.linspace(np.pi / 2, 0, 25)
        return [(float(r * np.cos(a)), float(depth * np.sin(a))) for a in t]

    bottom = [(x, low - d) for x, d in end(shape.bottom, low)]
    roof = [(x, top - high + d) for x, d in end(shape.roof, high)]
    right = bottom + roof[::-1]
    left = [(-x, z) for x, z in reversed(right) if x > 0]
    return right + left
