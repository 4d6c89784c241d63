"""What a round shows and prints of its stops; four queries, however many stops there are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import OuterRef, Prefetch, Subquery
from django.utils import timezone

from calibration.due.reads import Result, results_of
from calibration.jobs.models import Job
from calibration.procedures.models import ProcedureStep, ProcedureVersion
from calibration.records.models import Calibration
from calibration.rounds.models import Round
from plant.level.signals import signal_at
from plant.points.models import MeasuringPoint
from plant.points.status import Status
from plant.transmitters.models import Installation, Transmitter

USUAL_PERCENTS = [Decimal(percent) for percent in (0, 25, 50, 75, 100)]
STATE_KINDS = {
    "planned": "plan",
    "in hand": "hand",
    "submitted": "sent",
    "returned": "back",
    "approved": "done",
    "cancelled": "off",
}
DONE = (Job.State.SUBMITTED, Job.State.APPROVED)


@dataclass(frozen=True)
class SheetRow:
    """One line of the job sheet: what to apply and what a correct transmitter then shows."""

    percent: Decimal
    applied: Decimal
    expected: float


@dataclass(frozen=True)
class Stop:
    job: Job
    point: MeasuringPoint
    result: Result | None
    transmitter: Transmitter | None
    kind: str
    status: Status
    cautions: list[str] = field(default_factory=list)
    sheet: list[SheetRow] = field(default_factory=list)

    @property
    def is_done(self) -> bool:
        return self.job.state in DONE

    @property
    def is_planned(self) -> bool:
        return self.job.state == Job.State.PLANNED


def stops_of(made: Round) -> list[Stop]:
    """The round's stops in order, with all that the page and the job sheet show."""
    last = (
        Calibration.objects.standing().filter(point=OuterRef("point")).order_by("-done_on", "-id")
    )
    present = Installation.objects.filter(removed_on=None).select_related("transmitter")
    stops = list(
        made.stops.select_related("point__tank__area", "point__tank__product", "technician")
        .prefetch_related(Prefetch("point__installations", present, to_attr="present"))
        .annotate(last_record=Subquery(last.values("pk")[:1]))
        .order_by("stop_number")
    )
    results = results_of(stop.last_record for stop in stops if stop.last_record)
    procedures = _latest_versions({stop.point.procedure_key for stop in stops})
    today = made.site.day_of(timezone.now())
    return [_stop(job, results.get(job.last_record), procedures, today) for job in stops]


def _stop(
    job: Job, result: Result | None, procedures: dict[str, ProcedureVersion], today: dt.date
) -> Stop:
    point = job.point
    version = procedures.get(point.procedure_key)
    present: list[Installation] = point.present  # type: ignore[attr-defined]  # prefetched above
    return Stop(
        job=job,
        point=point,
        result=result,
        transmitter=present[0].transmitter if present else None,
        kind=STATE_KINDS[job.state],
        status=point.status(today),
        cautions=_cautions(version),
        sheet=sheet_of(point, version.percents if version else USUAL_PERCENTS),
    )


def _cautions(version: ProcedureVersion | None) -> list[str]:
    if version is None:
        return []
    steps: list[ProcedureStep] = version.cautions  # type: ignore[attr-defined]  # prefetched below
    return [step.text for step in steps]


def _latest_versions(keys: Iterable[str]) -> dict[str, ProcedureVersion]:
    cautions = ProcedureStep.objects.filter(kind=ProcedureStep.Kind.CAUTION).order_by("number")
    versions = (
        ProcedureVersion.objects.filter(procedure__key__in=keys, published_on__isnull=False)
        .select_related("procedure")
        .prefetch_related(Prefetch("steps", cautions, to_attr="cautions"))
        .order_by("procedure", "number")
    )
    return {version.procedure.key: version for version in versions}  # the last one wins


def sheet_of(point: MeasuringPoint, percents: Iterable[Decimal]) -> list[SheetRow]:
    """What to apply at each test point, in the point's unit, and the output expected."""
    rows = []
    for percent in percents:
        applied = point.lower + (point.upper - point.lower) * percent / 100
        expected = signal_at(
            float(applied), lower=float(point.lower), upper=float(point.upper), signal=point.output
        )
        rows.append(SheetRow(percent, applied, float(expected)))
    return rows
