"""The solids behind the dimensions of a tank; metres, z = 0 lowest.

Each has its volume below a height, and how far it reaches there to the right and to the left of its
middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from plant.level.arrays import Floats
from plant.level.heads import Dished, Ellipsoid, Head, circle_segment

CURVE = 32  # Steps by which the outline follows a curved end.


@dataclass(frozen=True)
class VerticalTank:
    """An upright cylinder between two heads."""

    bottom: Head
    straight: float
    top: Head

    @property
    def height(self) -> float:
        return self.bottom.depth + self.straight + self.top.depth

    def volume(self, z: Floats) -> Floats:
        bottom, top = self.bottom, self.top
        up = np.clip(z - bottom.depth, 0.0, self.straight)
        left = np.clip(self.height - z, 0.0, top.depth)
        return (
            bottom.tip_volume(np.minimum(z, bottom.depth))
            + math.pi * bottom.radius**2 * up
            + (top.volume - top.tip_volume(left))
        )

    def reach(self, z: Floats) -> tuple[Floats, Floats]:
        shoulder = self.bottom.depth + self.straight
        below = self.bottom.radius_at(np.clip(self.bottom.depth - z, 0.0, None))
        above = self.top.radius_at(np.clip(z - shoulder, 0.0, self.top.depth))
        half = np.where(z <= self.bottom.depth, below, above)
        return half, half

    def corners(self) -> np.ndarray:
        return np.concatenate(
            [
                _contour(self.bottom) * self.bottom.depth,
                self.height - _contour(self.top) * self.top.depth,
            ]
        )


@dataclass(frozen=True)
class HorizontalTank:
    """A cylinder on its side between two heads, which may differ."""

    head: Head
    straight: float
    far: Head

    @property
    def height(self) -> float:
        return 2 * self.head.radius

    def volume(self, z: Floats) -> Floats:
        ends = self.head.side_volume(z) + self.far.side_volume(z)
        return circle_segment(self.head.radius, z) * self.straight + ends

    def reach(self, z: Floats) -> tuple[Floats, Floats]:
        off_axis = np.abs(z - self.head.radius)
        right, left = self.head.reach_at(off_axis), self.far.reach_at(off_axis)
        return self.straight / 2 + right, self.straight / 2 + left

    def corners(self) -> np.ndarray:
        half = np.union1d(_contour(self.head), _contour(self.far)) * self.head.radius
        return np.concatenate([half, self.height - half])


@dataclass(frozen=True)
class RectangularTank:
    length: float
    breadth: float
    height: float

    def volume(self, z: Floats) -> Floats:
        return self.length * self.breadth * z

    def reach(self, z: Floats) -> tuple[Floats, Floats]:
        half = self.length / 2 + 0.0 * z
        return half, half

    def corners(self) -> np.ndarray:
        return np.array([0.0, self.height])


def _contour(head: Head) -> np.ndarray:
    """Places on a head that its outline needs, close where it bends.

    From the tip (or lowest line), 0, to the tangent line (or axis), 1.
    """
    if isinstance(head, Ellipsoid | Dished):
        return (1 - np.cos(np.linspace(0.0, math.pi, CURVE + 1))) / 2
    return np.array([0.0, 1.0])
