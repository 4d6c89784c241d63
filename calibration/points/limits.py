"""Tolerance and adjust limit of a point as its page shows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from plant.points.models import MeasuringPoint
from plant.points.tolerance_texts import tolerance_texts


@dataclass(frozen=True)
class PointLimits:
    """percent: half the width of the tolerance, or its one limit, % of span. text: the tolerance in
    % of span; others: in further units.
    """

    percent: float
    text: str
    others: Sequence[str]
    adjust_percent: float


def limits_of(point: MeasuringPoint) -> PointLimits:
    text, *others = tolerance_texts(point)
    return PointLimits(point.limits.percent, text, others, point.adjust_limits.percent)
