"""A plain drift rate from increments, as a cross-check, and the refusal of all drift methods.

Ordinary least squares through the origin: one rate for all increments, with no random walk. x is
time in any one unit, y is % of span.
Source: the formulas are in any textbook on regression; checked by INT-09 and REG-02.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from plant.level.checks import BadArgument, limits_size, share


class CannotFit(BadArgument):
    """A history from which no drift can be estimated. Attributes: argument, reason."""


@dataclass(frozen=True)
class OriginLine:
    """A line y = slope x. dof: degrees of freedom of residual_sd; se_slope: standard error."""

    slope: float
    se_slope: float
    residual_sd: float
    dof: int

    def slope_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Lower and upper end of the confidence interval of the slope.

        Raises BadArgument for a confidence outside 0 to 1.
        """
        factor = float(stdtrit(self.dof, 0.5 + share("confidence", confidence) / 2))
        return self.slope - factor * self.se_slope, self.slope + factor * self.se_slope


@limits_size("x", "y")
def through_origin(x: ArrayLike, y: ArrayLike) -> OriginLine:
    """The line through increments y over times x, each counted from its own start.

    Raises CannotFit for fewer than two increments, all x zero, or a value that is not a number.

    >>> round(through_origin([1.0, 2.0, 1.0], [0.1, 0.2, 0.1]).slope, 9)
    0.1
    """
    x, y = _columns(x, y)
    if x.size < 2:
        raise CannotFit("x", f"{x.size} increments; a rate with its scatter needs 2")
    sxx = float(x @ x)
    if sxx == 0:
        raise CannotFit("x", "no time passes in any increment")
    slope = float(x @ y) / sxx
    rest = y - slope * x
    dof = x.size - 1
    sd = math.sqrt(float(rest @ rest) / dof)
    return OriginLine(slope, sd / math.sqrt(sxx), sd, dof)


def _columns(x: ArrayLike, y: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    columns = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if columns[0].ndim != 1 or columns[0].shape != columns[1].shape:
        raise CannotFit("x, y", "they need one value a reading each")
    for name, column in zip("xy", columns, strict=True):
        if not np.isfinite(column).all():
            place = int((~np.isfinite(column)).argmax()) + 1
            raise CannotFit(name, f"reading {place} is not a number")
    return columns
