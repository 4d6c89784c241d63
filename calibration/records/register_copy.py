"""What a record copies of the register, so that it states for ever the range and tolerance of its
day.
"""

from __future__ import annotations

from typing import Any

from calibration.records.models import Calibration
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter


def register_of(point: MeasuringPoint, transmitter: Transmitter) -> dict[str, Any]:
    """The register as it is now, as the columns of a record."""
    return {
        "tag": point.tag,
        "tank_name": point.tank.name,
        "product_name": point.tank.product.name if point.tank.product else "",
        "serial": transmitter.serial,
        "quantity": point.quantity,
        "unit": point.unit,
        "lower": point.lower,
        "upper": point.upper,
        "signal": point.signal,
        "tolerance": point.tolerance,
        "tolerance_unit": point.tolerance_unit,
        "tolerance_down": point.tolerance_down,
        "tolerance_sides": point.tolerance_sides,
        "tolerance_percent": point.limits.percent,
        "adjust_limit_percent": point.adjust_limits.percent,
    }


COPIED = (
    "tag",
    "tank_name",
    "product_name",
    "serial",
    "quantity",
    "unit",
    "lower",
    "upper",
    "signal",
    "tolerance",
    "tolerance_unit",
    "tolerance_down",
    "tolerance_sides",
    "tolerance_percent",
    "adjust_limit_percent",
)


def register_in(record: Calibration) -> dict[str, Any]:
    """The same columns as ``record`` holds them."""
    return {name: getattr(record, name) for name in COPIED}
