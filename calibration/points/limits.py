"""Tolerance and adjust limit of a point in every unit that makes sense there."""

from __future__ import annotations

from dataclasses import dataclass

from plant.points.models import MeasuringPoint


@dataclass(frozen=True)
class Limits:
    """Tolerance and adjust limit in every unit that makes sense at this point; mm is None where
    volume is indicated.
    """

    percent: float
    signal: float
    millimetres: float | None
    adjust_percent: float


def limits_of(point: MeasuringPoint) -> Limits:
    percent_ = point.limits.percent
    span_mm = None if point.quantity == "volume" else 1000 * point.span_base
    return Limits(
        percent=percent_,
        signal=percent_ / 100 * (point.output.high - point.output.low),
        millimetres=None if span_mm is None else percent_ / 100 * span_mm,
        adjust_percent=point.adjust_limits.percent,
    )
