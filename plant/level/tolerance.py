"""A tolerance in % of span, mm, mA or volume, and its equivalent in the other units."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
