from calibration.deferrals.models import Deferral
from calibration.drift.models import JumpQuestion, Trend
from calibration.families.models import Family
from calibration.findings.models import Finding
from calibration.fleet.models import FleetRun
from calibration.intervals.models import Proposal
from calibration.jobs.models import Job
from calibration.policies.models import Policy
from calibration.procedures.models import (
    InputWay,
    Procedure,
    ProcedureStep,
    ProcedureVersion,
    SiteWording,
)
from calibration.records.models import Adjustment, Calibration, Reading, StandardUse, StepTaken
from calibration.reminders.models import Digest, Heartbeat, Reminder, ReminderScan
from calibration.rounds.models import Round
from calibration.standards.models import ReferenceStandard, StandardCertificate
from calibration.status.models import ReasonClosing
from calibration.status.results import CompleteResult, CurrentRecord
from calibration.tablet.models import FieldKey, FieldPhoto, FieldWork

__all__ = [
    "Adjustment",
    "Calibration",
    "CompleteResult",
    "CurrentRecord",
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
    "JumpQuestion",
    "Policy",
    "Procedure",
    "ProcedureStep",
    "ProcedureVersion",
    "Proposal",
    "Reading",
    "ReasonClosing",
    "ReferenceStandard",
    "Reminder",
    "ReminderScan",
    "Round",
    "SiteWording",
    "StandardCertificate",
    "StandardUse",
    "StepTaken",
    "Trend",
]
