from calibration.models.deferral import Deferral
from calibration.models.field import FieldKey, FieldPhoto, FieldWork, StepTaken
from calibration.models.finding import Finding
from calibration.models.job import Job
from calibration.models.policy import Policy
from calibration.models.procedure import (
    InputWay,
    Procedure,
    ProcedureStep,
    ProcedureVersion,
    SiteWording,
)
from calibration.models.proposal import Proposal
from calibration.models.record import Adjustment, Calibration, Reading, StandardUse
from calibration.models.reminder import Digest, Heartbeat, Reminder, ReminderScan
from calibration.models.round import Round
from calibration.models.standard import ReferenceStandard, StandardCertificate
from calibration.models.trend import Family, FleetRun, StepQuestion, Trend

__all__ = [
    "Adjustment",
    "Calibration",
    "Deferral",
    "Digest",
    "Family",
    "FieldKey",
    "FieldPhoto",
    "FieldWork",
    "Finding",
    "FleetRun",
    "Heartbeat",
    "InputWay",
    "Job",
    "Policy",
    "Procedure",
    "ProcedureStep",
    "ProcedureVersion",
    "Proposal",
    "Reading",
    "ReferenceStandard",
    "Reminder",
    "ReminderScan",
    "Round",
    "SiteWording",
    "StandardCertificate",
    "StandardUse",
    "StepQuestion",
    "StepTaken",
    "Trend",
]
