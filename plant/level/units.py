"""Units of length and volume and their exact factors.

Inch and foot are 25.4 mm and 304.8 mm by definition (international yard agreement of 1959, from
memory).
"""

from __future__ import annotations

from plant.level.arrays import Floats
from plant.level.checks import limits_size

# Ratios of whole numbers: Decimals stay exact, and a float is rounded once.
_LENGTH = {"mm": (1, 1000), "cm": (1, 100), "m": (1, 1), "in": (127, 5000), "ft": (381, 1250)}
_VOLUME = {"m3": (1, 1), "L": (1, 1000)}

# Unit to metres, unit to cubic metres.
LENGTH_UNITS = {unit: over / under for unit, (over, under) in _LENGTH.items()}
VOLUME_UNITS = {unit: over / under for unit, (over, under) in _VOLUME.items()}


class UnknownUnit(ValueError):
    """A unit that is not accepted here. Attributes: unit, accepted."""

    def __init__(self, unit: str, quantity: str, accepted: tuple[str, ...]) -> None:
        self.unit, self.accepted = unit, accepted
        *others, last = accepted
        super().__init__(
            f"“{unit}” is not a unit of {quantity} known here; write {', '.join(others)} or {last}."
        )


@limits_size("value")
def to_metres(value: Floats, unit: str) -> Floats:
    """``value`` in ``unit`` as metres; a Decimal stays an exact Decimal, arrays keep their shape.

    Raises UnknownUnit unless unit is mm, cm, m, in or ft.

    >>> to_metres(12, "in")
    0.3048
    """
    over, under = _length(unit)
    return value * over / under


@limits_size("value")
def from_metres(value: Floats, unit: str) -> Floats:
    """Metres as ``unit``; the inverse of to_metres.

    >>> from_metres(0.3048, "ft")
    1.0
    """
    over, under = _length(unit)
    return value * under / over


@limits_size("value")
def to_cubic_metres(value: Floats, unit: str) -> Floats:
    """``value`` in ``unit`` (m3 or L) as cubic metres. Raises UnknownUnit for any other.

    >>> to_cubic_metres(250, "L")
    0.25
    """
    over, under = _volume(unit)
    return value * over / under


@limits_size("value")
def from_cubic_metres(value: Floats, unit: str) -> Floats:
    """Cubic metres as ``unit`` (m3 or L)."""
    over, under = _volume(unit)
    return value * under / over


def _length(unit: str) -> tuple[int, int]:
    if unit not in _LENGTH:
        raise UnknownUnit(unit, "length", tuple(_LENGTH))
    return _LENGTH[unit]


def _volume(unit: str) -> tuple[int, int]:
    if unit not in _VOLUME:
        raise UnknownUnit(unit, "volume", tuple(_VOLUME))
    return _VOLUME[unit]
