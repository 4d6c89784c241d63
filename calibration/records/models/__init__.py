from calibration.records.models.calibration import Calibration
from calibration.records.models.readings import (
    Adjustment,
    Reading,
    StandardUse,
    StepTaken,
)

__all__ = ["Adjustment", "Calibration", "Reading", "StandardUse", "StepTaken"]
