"""A tolerance in % of span, mm, mA or volume, its equivalent in the other units, and the limits of
an error that follow from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Self

from plant.level.checks import BadArgument, limits_size
from plant.level.signals import Signal
from plant.level.units import VOLUME_UNITS, from_cubic_metres


class UnitDoesNotFit(ValueError):
    """A unit in which a tolerance of this point cannot be given. Attributes: unit, accepted."""

    def __init__(self, unit: str, accepted: tuple[str, ...]) -> None:
        self.unit, self.accepted = unit, accepted
        *others, last = accepted
        super().__init__(
            f"tolerance unit “{unit}” does not fit this point; write {', '.join(others)} or {last}"
        )


Number = float | Decimal

BOTH, AT_MOST, AT_LEAST = SIDES = ("both", "at most", "at least")
"""Which sides of an error are limited."""
WHOLE_SPAN = 100.0  # % of span


@dataclass(frozen=True)
class Limits:
    """An error is in tolerance from −``down`` to +``up``, % of span; both above zero.

    sides: which of them somebody set. The open side of a one-sided tolerance is limited by the
    range itself: it lies a whole span, 100 %, from zero.

    An error of [−down, +up] is judged as one of ± ``half`` once ``centre`` is taken from it. Drift,
    adjustments and chances do not change where a constant is taken from every error, so what
    computes with a half-width needs no other way for unequal sides.

    >>> limits = Limits.of(5, 10)
    >>> limits.half, limits.centre, limits.off_centre(-10.0)
    (7.5, -2.5, -7.5)
    """

    down: float
    up: float
    sides: str = BOTH

    @classmethod
    def of(cls, value: Number, down: Number | None = None, sides: str = BOTH) -> Self:
        """value: the limit upward, either way where ``down`` is None, or that of a one-sided
        tolerance. Raises BadArgument where one is not above zero or no such sides are known.
        """
        above = _above_zero("tolerance", value)
        below = above if down is None else _above_zero("tolerance downward", down)
        if sides not in SIDES or (sides != BOTH and down is not None):
            raise BadArgument(f"sides {sides}", "a one-sided tolerance has one limit")
        one_sided = {AT_MOST: (WHOLE_SPAN, above), AT_LEAST: (above, WHOLE_SPAN)}
        return cls(*one_sided.get(sides, (below, above)), sides)

    def scaled_to(self, size: float) -> Limits:
        """The same limits in another unit, in which their ``size`` is this.

        >>> Limits.of(5, 10).scaled_to(0.75)
        Limits(down=1.0, up=0.5, sides='both')
        """
        if self.is_one_sided or self.up == self.down:
            return Limits.of(size, sides=self.sides)
        by = size / self.size
        return Limits.of(self.up * by, self.down * by)

    @property
    def half(self) -> float:
        return (self.up + self.down) / 2

    @property
    def centre(self) -> float:
        return (self.up - self.down) / 2

    @property
    def size(self) -> float:
        """What an error is compared with at a glance: the half-width, or the one limit that is
        set.
        """
        return {AT_MOST: self.up, AT_LEAST: self.down}.get(self.sides, self.half)

    @property
    def nearest(self) -> float:
        """The distance from zero of the nearer limit."""
        return min(self.up, self.down)

    @property
    def is_one_sided(self) -> bool:
        return self.sides != BOTH

    @property
    def edges(self) -> tuple[float, ...]:
        """The limits that somebody set, signed, the lower first."""
        return {AT_MOST: (self.up,), AT_LEAST: (-self.down,)}.get(self.sides, (-self.down, self.up))

    @property
    def frame(self) -> tuple[float, float]:
        """What a picture of errors shows at least: beside an open side as much as inside the
        other.
        """
        return (-self.size, self.size) if self.is_one_sided else (-self.down, self.up)

    def json(self) -> dict[str, float | str]:
        """As the scripts of the pages take them."""
        return {"down": self.down, "up": self.up, "sides": self.sides}

    def off_centre(self, errors: Any) -> Any:
        """Errors as they are compared with ± ``half``."""
        return errors - self.centre

    def holds(self, error: float) -> bool:
        """Within the limits; rounding in the ninth digit counts as within."""
        return abs(error - self.centre) <= self.half + 1e-9

    def furthest(self, errors: Sequence[float]) -> float:
        """The error furthest beyond its own limit, or nearest to it; of none, ValueError."""
        least, most = min(errors), max(errors)
        return least if self.centre - least > most - self.centre else most


@dataclass(frozen=True)
class Tolerance:
    """Half-width of a tolerance (± this). What does not apply to the point is None.

    percent: of span. millimetres: points that indicate level. cubic_metres: points that indicate
    volume.
    milliamps: points with a current output.
    """

    percent: float
    millimetres: float | None
    cubic_metres: float | None
    milliamps: float | None


@limits_size("span")
def equivalent_tolerance(
    value: float, unit: str, *, span: float, signal: Signal, quantity: str = "level"
) -> Tolerance:
    """The tolerance ± ``value`` ``unit`` of a point, in every unit that applies to it.

    unit: %, or mA where the output is a current, or mm where the point indicates level, or m3 or
    L where it indicates volume. span: |URV − LRV| in metres, or in m³ where quantity is "volume".
    Raises BadArgument for a negative or missing value or a span not above zero, UnitDoesNotFit.

    >>> from plant.level.signals import FOUR_TO_TWENTY
    >>> equivalent_tolerance(4, "mm", span=8.0, signal=FOUR_TO_TWENTY)
    Tolerance(percent=0.05, millimetres=4.0, cubic_metres=None, milliamps=0.008)
    """
    if not (math.isfinite(value) and value >= 0):
        raise BadArgument(f"tolerance {value}", "it must be a number, zero or above")
    if not (math.isfinite(span) and span > 0):
        raise BadArgument(f"span {span}", "it must be above zero; LRV and URV must differ")
    whole = _whole_span(span, signal, quantity)
    if unit not in whole:
        raise UnitDoesNotFit(unit, tuple(whole))
    percent = 100 * value / whole[unit]
    return Tolerance(
        percent=percent,
        millimetres=_part(percent, whole.get("mm")),
        cubic_metres=_part(percent, whole.get("m3")),
        milliamps=_part(percent, whole.get("mA")),
    )


def _above_zero(name: str, limit: Number) -> float:
    value = float(limit)
    if not (math.isfinite(value) and value > 0):
        raise BadArgument(f"{name} {limit}", "it must be a number above zero")
    return value


def _whole_span(span: float, signal: Signal, quantity: str) -> dict[str, float]:
    """The whole span in each unit in which a tolerance of such a point may be given."""
    whole = {"%": 100.0}
    if quantity == "volume":
        whole |= {unit: float(from_cubic_metres(span, unit)) for unit in VOLUME_UNITS}
    else:
        whole["mm"] = 1000 * span
    if signal.unit == "mA":
        whole["mA"] = signal.span
    return whole


def _part(percent: float, whole: float | None) -> float | None:
    return None if whole is None else whole * percent / 100
