"""Strapping tables: measured heights and the volume below each, with straight lines between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plant.level.arrays import Floats, float_or_array
from plant.level.bounds import heights_inside, volumes_inside


class BadStrapping(ValueError):
    """A strapping table that cannot be right.

    Attributes: row (counted from 1; None: the whole table), reason.
    """

    def __init__(self, row: int | None, reason: str) -> None:
        self.row, self.reason = row, reason
        where = "Strapping table" if row is None else f"Strapping table, row {row}"
        super().__init__(f"{where}: {reason}")


@dataclass(frozen=True)
class Strapping:
    """Heights in m above the lowest point, strictly increasing; volumes in m³, never decreasing.

    Below the first row and above the last nothing is known: OutsideTank. Raises BadStrapping with
    the row.

    >>> Strapping([0.0, 0.5, 1.5], [0.0, 10.0, 34.0]).volume_at(1.0)
    22.0
    """

    heights: Sequence[float]
    volumes: Sequence[float]

    def __post_init__(self) -> None:
        object.__setattr__(self, "heights", tuple(float(h) for h in self.heights))
        object.__setattr__(self, "volumes", tuple(float(v) for v in self.volumes))
        if len(self.heights) != len(self.volumes):
            raise BadStrapping(
                None,
                f"{len(self.heights)} heights and {len(self.volumes)} volumes; "
                "each row needs both.",
            )
        if len(self.heights) < 2:
            raise BadStrapping(None, "at least two rows are needed to lay a line between.")
        self._check_rows()
        if self.volumes[0] == self.volumes[-1]:
            raise BadStrapping(None, "the volume is the same in every row; it must grow.")

    def _check_rows(self) -> None:
        before_height, before_volume = -np.inf, -np.inf
        for row, (height, volume) in enumerate(zip(self.heights, self.volumes, strict=True), 1):
            if not (0 <= height < np.inf and 0 <= volume < np.inf):
                raise BadStrapping(
                    row,
                    f"height {height:g} m, volume {volume:g} m³; "
                    "both must be numbers, zero or above.",
                )
            if height <= before_height:
                raise BadStrapping(
                    row,
                    f"height {height:g} m is not above the {before_height:g} m of the row before.",
                )
            if volume < before_volume:
                raise BadStrapping(
                    row,
                    f"volume {volume:g} m³ is less than the {before_volume:g} m³ "
                    "of the row before.",
                )
            before_height, before_volume = height, volume

    @property
    def inside_height(self) -> float:
        """The highest height of the table, m."""
        return self.heights[-1]

    @property
    def capacity(self) -> float:
        """The volume at the highest height, m³."""
        return self.volumes[-1]

    def volume_at(self, heights: Floats) -> Floats:
        """m³ below each height, m; the shape of the heights.

        Raises OutsideTank beyond the first and last row.
        """
        inside = heights_inside(heights, self.heights[0], self.heights[-1])
        return float_or_array(np.interp(inside, self.heights, self.volumes))

    def height_at(self, volumes: Floats) -> Floats:
        """Height in m of each volume, m³; the lowest, where several rows hold the same.

        Raises OutsideTank beyond the first and last row.
        """
        inside = volumes_inside(volumes, self.volumes[0], self.volumes[-1])
        known, heights = np.asarray(self.volumes), np.asarray(self.heights)
        upper = np.searchsorted(known, inside, side="left").clip(1)
        lower = upper - 1
        rise = known[upper] - known[lower]
        share = np.divide(inside - known[lower], rise, out=np.zeros_like(inside), where=rise > 0)
        return float_or_array(heights[lower] + share * (heights[upper] - heights[lower]))
