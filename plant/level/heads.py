"""The ends of round tanks: flat, cone, dished, ellipsoidal and hemispherical heads.

A head is a solid of revolution on a circle of ``radius`` (the tangent line), ``depth`` deep.
Standing, it is filled from its tip or from its tangent line; lying, it is filled from its side.
All lengths in metres, volumes in m³, shapes broadcast. Integrals worked here; the referee of the
tests is another library.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from plant.level.arrays import Floats
from plant.level.checks import above_zero, takes_numbers

# Gauss-Legendre on 0..1, drawn towards both ends: there a head's section rises like a root.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)
_S = (_NODES + 1) / 2
_SHARES = _S * _S * (3 - 2 * _S)
_MASSES = _WEIGHTS / 2 * 6 * _S * (1 - _S)


@takes_numbers("radius", "depth")
def circle_segment(radius: Floats, depth: Floats) -> Floats:
    """Area in m² of a circle below a chord ``depth`` above its lowest point; depth 0 to 2 radius.

    >>> round(float(circle_segment(1.0, 1.0)), 9)  # half of pi
    1.570796327
    """
    above_zero("radius", radius)
    half_angle = 2 * np.arcsin(np.sqrt(np.clip(depth / (2 * radius), 0.0, 1.0)))
    return radius**2 * (half_angle - np.sin(2 * half_angle) / 2)


@dataclass(frozen=True)
class Head:
    """A flat head; the others say what differs."""

    radius: float
    depth: float = 0.0

    @property
    def volume(self) -> float:
        return float(self.tip_volume(np.float64(self.depth)))

    def tip_volume(self, height: Floats) -> Floats:
        """Standing on its tip, filled to ``height`` above it; 0 to depth."""
        return 0.0 * height

    def radius_at(self, distance: Floats) -> Floats:
        """Inside radius at this distance from the tangent line towards the tip; 0 to depth."""
        return self.radius + 0.0 * distance

    def reach_at(self, off_axis: Floats) -> Floats:
        """Distance from the tangent line to the inside wall, this far off the axis; 0 to radius."""
        return 0.0 * off_axis

    def side_volume(self, height: Floats) -> Floats:
        """Lying, filled to ``height`` above its lowest point; 0 to twice the radius."""
        low = np.minimum(height, 2 * self.radius - height)
        part = self._lower_side_volume(low)
        return np.where(height <= self.radius, part, self.volume - part)

    def _lower_side_volume(self, height: Floats) -> Floats:
        return 0.0 * height


@dataclass(frozen=True)
class Cone(Head):
    def tip_volume(self, height: Floats) -> Floats:
        return math.pi * (self.radius / self.depth) ** 2 * height**3 / 3

    def radius_at(self, distance: Floats) -> Floats:
        return self.radius * (1 - distance / self.depth)

    def reach_at(self, off_axis: Floats) -> Floats:
        return self.depth * (1 - off_axis / self.radius)

    def _lower_side_volume(self, height: Floats) -> Floats:
        # The terms nearly cancel in a low level, so each is formed from the share of the radius
        # that is wetted.
        wet = height / self.radius
        dry, half_chord = 1 - wet, np.sqrt(wet * (2 - wet))
        angle = 2 * np.arcsin(np.sqrt(wet / 2))
        rise = np.arctanh(np.minimum(half_chord, 1 - np.finfo(float).eps))
        return self.depth * self.radius**2 / 3 * (angle - 2 * dry * half_chord + dry**3 * rise)


@dataclass(frozen=True)
class Ellipsoid(Head):
    """Half a spheroid; hemispherical where the depth is the radius."""

    def tip_volume(self, height: Floats) -> Floats:
        return math.pi * (self.radius / self.depth) ** 2 * (self.depth - height / 3) * height**2

    def radius_at(self, distance: Floats) -> Floats:
        return self.radius * _beside(distance / self.depth)

    def reach_at(self, off_axis: Floats) -> Floats:
        return self.depth * _beside(off_axis / self.radius)

    def _lower_side_volume(self, height: Floats) -> Floats:
        return math.pi * self.depth / (2 * self.radius) * (self.radius - height / 3) * height**2


@dataclass(frozen=True)
class Dished(Head):
    """A torispherical end: a dish of radius ``crown``, joined to the wall by a knuckle."""

    crown: float = 0.0
    knuckle: float = 0.0

    @property
    def ring(self) -> float:
        """Radius of the circle on which the knuckle's centre lies."""
        return self.radius - self.knuckle

    @property
    def joint(self) -> float:
        """Distance of the line where knuckle and dish meet from the tangent line."""
        return (self.crown - self.depth) * self.knuckle / (self.crown - self.knuckle)

    def tip_volume(self, height: Floats) -> Floats:
        cap = np.minimum(height, self.depth - self.joint)
        dish = math.pi * (self.crown - cap / 3) * cap**2
        above = np.minimum(self.depth - height, self.joint)
        return dish + self._knuckle_volume(self.joint) - self._knuckle_volume(above)

    def _knuckle_volume(self, distance: Floats) -> Floats:
        """From the tangent line to ``distance`` of it, at most to the joint."""
        k, ring = self.knuckle, self.ring
        if k == 0:
            return 0.0 * distance
        x = np.clip(distance, 0.0, self.joint)
        arc = x * np.sqrt(k * k - x * x) + k * k * np.arcsin(x / k)
        return math.pi * ((ring**2 + k * k) * x - x**3 / 3 + ring * arc)

    def radius_at(self, distance: Floats) -> Floats:
        x = np.asarray(distance, dtype=float)
        knuckle = self.ring + self.knuckle * _beside(_share(x, self.knuckle))
        dish = self.crown * _beside((x + self.crown - self.depth) / self.crown)
        return np.where(x <= self.joint, knuckle, dish)

    def reach_at(self, off_axis: Floats) -> Floats:
        y = np.asarray(off_axis, dtype=float)
        knuckle = self.knuckle * _beside(_share(y - self.ring, self.knuckle))
        dish = self.crown * _beside(y / self.crown) - (self.crown - self.depth)
        return np.where(y >= self._joint_radius, knuckle, dish)

    @property
    def _joint_radius(self) -> float:
        return self.crown * self.ring / (self.crown - self.knuckle)

    def _lower_side_volume(self, height: Floats) -> Floats:
        height = np.asarray(height, dtype=float)
        end = self.reach_at(self.radius - height)
        return self._slices(height, 0.0 * end, np.minimum(end, self.joint)) + self._slices(
            height, np.minimum(end, self.joint), end
        )

    def _slices(self, height: Floats, start: Floats, end: Floats) -> Floats:
        """Sum of the circle segments below ``height`` from start to end, from the tangent line."""
        x = start[..., None] + (end - start)[..., None] * _SHARES
        radius = self.radius_at(x)
        depth = radius - (self.radius - height[..., None])
        return (end - start) * (circle_segment(radius, depth) @ _MASSES)


def _beside(share: Floats) -> Floats:
    """The other side of a right triangle with hypotenuse 1."""
    return np.sqrt(np.clip((1 - share) * (1 + share), 0.0, 1.0))


def _share(part: Floats, whole: float) -> Floats:
    return part / whole if whole else np.ones_like(part)
