"""What other rooms ask of the records of a measuring point."""

from __future__ import annotations

from calibration.records.models import Calibration
from plant.points.models import MeasuringPoint


def last_record(point: MeasuringPoint) -> Calibration | None:
    """The latest result that stands."""
    return Calibration.objects.standing().filter(point=point).first()
