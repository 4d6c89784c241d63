"""Strapping tables: volume by linear interpolation between measured heights, both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plant.level.tanks import OutsideTank


@dataclass(frozen=True)
class Strapping:
    """heights in m above the lowest point and volumes in m³, both strictly increasing."""

    heights: tuple[float, ...]
    volumes: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.heights) < 2 or len(self.heights) != len(self.volumes):
            raise ValueError("a strapping table needs at least two rows of height and volume")
        for name, column in (("height", self.heights), ("volume", self.volumes)):
            for row, (before, after) in enumerate(zip(column, column[1:], strict=False), 2):
                if after <= before:
                    raise ValueError(f"strapping row {row}: {name} {after:g} is not above {before:g}")

    def volume_at(self, heights):
        return self._between(heights, self.heights, self.volumes)

    def height_at(self, volumes):
        return self._between(volumes, self.volumes, self.heights)

    def _between(self, values, known, wanted):
        v = np.asarray(values, dtype=float)
        outside = (v < known[0]) | (v > known[-1])
        if np.any(outside):
            raise OutsideTank(float(np.atleast_1d(v)[np.atleast_1d(outside)][0]), self.heights[-1])
        result = np.interp(v, known, wanted)
        return float(result) if np.ndim(result) == 0 else result
