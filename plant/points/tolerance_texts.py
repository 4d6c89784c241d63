"""Tolerances as text: of an error anywhere, and of a point in every unit that makes sense there."""

from __future__ import annotations

from plant.cells import digits
from plant.level.tolerance import AT_LEAST, AT_MOST, BOTH, Limits, Tolerance
from plant.points.models import MeasuringPoint
from plant.quantities import (
    DECIMALS,
    MINUS,
    number,
    percent_decimals,
    plus_minus,
    with_unit,
)

OPEN = {AT_MOST: "no limit below", AT_LEAST: "no limit above"}


def limits_text(limits: Limits, unit: str = "%", decimals: int | None = None) -> str:
    """What an error may be: "±4 mm", "+5 / −10 mm", "at most +5 mm", "at least −10 mm".

    >>> limits_text(Limits.of(5, 10), "mm") == "+5 / −10\u00a0mm"
    True
    """
    if decimals is None:
        is_share = unit == "%"
        decimals = percent_decimals(limits.size) if is_share else DECIMALS.get(unit, 2)
    if not limits.is_one_sided and limits.up == limits.down:
        return plus_minus(limits.up, unit, decimals)
    edges = [number(edge, decimals, signed=True) for edge in reversed(limits.edges)]
    text = with_unit(" / ".join(edges), unit)
    return f"{limits.sides} {text}" if limits.is_one_sided else text


def texts_of(given: Limits, size: Tolerance) -> dict[str, str]:
    """By unit. given: in the unit of the tolerance; size: their size in each unit."""
    known = {
        "%": (size.percent, None),
        "mA": (size.milliamps, None),
        "mm": (size.millimetres, 1),
    }
    texts = {
        unit: limits_text(given.scaled_to(value), unit, decimals)
        for unit, (value, decimals) in known.items()
        if value is not None
    }
    texts["%"] += " of span"
    return texts


def tolerance_texts(point: MeasuringPoint) -> list[str]:
    """In % of span, mA or V, and mm, as far as they apply; and which side has no limit."""
    texts = texts_of(point.given_limits, point.limits)
    signal = point.output
    if signal.unit not in texts:
        size = point.limits.percent / 100 * signal.span
        texts[signal.unit] = limits_text(point.given_limits.scaled_to(size), signal.unit)
    side = OPEN.get(point.tolerance_sides)
    return [*texts.values(), *([side] if side else [])]


def typed_tolerance(point: MeasuringPoint) -> str:
    """With the digits as typed, without its unit: "±4", "+5 / −10", "at most +5"."""
    value, down = digits(point.tolerance), point.tolerance_down
    if point.tolerance_sides != BOTH:
        return (
            f"{point.tolerance_sides} {'+' if point.tolerance_sides == AT_MOST else MINUS}{value}"
        )
    return f"±{value}" if down is None else f"+{value} / {MINUS}{digits(down)}"
