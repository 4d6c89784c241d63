"""The pack that a technician takes into the plant: their jobs, the procedures for them, and their
kit. Reads only.

Set-based: the same few queries whatever the number of jobs. The register columns of a job carry a
mark that comes back with the signed work, so that a range edited in between is noticed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any, Self

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Case, IntegerField, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import JSONObject

from calibration.jobs.models import Job
from calibration.policies.models import Policy
from calibration.procedures.choice import fitting, newest_of
from calibration.procedures.models import ProcedureStep, ProcedureVersion, SiteWording, units_of
from calibration.records.kit import Kit
from calibration.records.models import Calibration
from calibration.records.register_copy import register_of
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.cells import digits
from plant.level.tolerance import BOTH
from plant.people.models import Person
from plant.people.roles import ACTS
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed
from plant.transmitters.models import Installation, Transmitter

FORMAT = 1
MOST_JOBS = 60
AROUND = dt.timedelta(days=7)


def pack(*, by: Person, at: dt.datetime) -> dict[str, Any]:
    """Everything a shift in the plant needs, as JSON, but for the person's sealing key: at most
    MOST_JOBS jobs, the person's own first.
    """
    sites = by.site_ids("calibrate")
    if not sites:
        roles = " or ".join(sorted(ACTS["calibrate"]))
        raise NotAllowed(f"Only a {roles} takes jobs into the plant. Ask an administrator.")
    register = _Register.of(_jobs(by, sites, at), sites)
    jobs = [_job_with_kit(register, job, by, at) for job in register.jobs]
    followed = {pk for job in jobs for pk in job["procedures"]}
    return {
        "format": FORMAT,
        "made_at": at.isoformat(),
        "person": person_columns(by),
        "standards": [
            _standard(standard, rows, by) for standard, rows in register.certified.items()
        ],
        "procedures": {
            str(version.pk): _procedure(version)
            for version in register.newest
            if version.pk in followed
        },
        "jobs": jobs,
    }


@dataclass(frozen=True)
class _Register:
    """What the jobs of a pack take from the register, a query each."""

    jobs: Sequence[Job]
    installed: Mapping[int, Transmitter]
    policies: Mapping[int, Policy]
    newest: Sequence[ProcedureVersion]
    certified: Mapping[ReferenceStandard, Sequence[StandardCertificate]]
    last: Mapping[int, Calibration]

    @classmethod
    def of(cls, jobs: Sequence[Job], sites: Sequence[int]) -> Self:
        points = [job.point for job in jobs]
        return cls(
            jobs=jobs,
            installed=_transmitters(points),
            policies=Policy.objects.of_points(points),
            newest=newest_of(list(_versions(sites))),
            certified=_certificates(sites),
            last=_last_records(points),
        )

    @cached_property
    def kit(self) -> Kit:
        return Kit(self.certified)


def _job_with_kit(register: _Register, job: Job, by: Person, at: dt.datetime) -> dict[str, Any]:
    transmitter = register.installed.get(job.point_id)
    versions = fitting(register.newest, job.point, transmitter) or register.newest
    last, policy = register.last.get(job.point_id), register.policies[job.point_id]
    return {
        **_job(job, by=by, at=at),
        **_point(job.point, transmitter),
        "rule": policy.rule_text,
        "least_tur": float(policy.least_tur),
        "last": last and _last(last),
        "procedures": [version.pk for version in versions],
        **_kits(register.kit, job, transmitter, versions, at),
    }


def _kits(
    kit: Kit,
    job: Job,
    transmitter: Transmitter | None,
    versions: Sequence[ProcedureVersion],
    at: dt.datetime,
) -> dict[str, Any]:
    """What serves for the way of the first procedure, and for each other way that the technician
    may choose; and by procedure the standards that only its steps ask for.
    """
    by_way = {version.way: version for version in reversed(versions)}
    kits = {way: kit.of(job, transmitter, one, at=at) for way, one in by_way.items()}
    tools = {str(one.pk): kit.check_tools(job, one, at=at) for one in versions}
    return {
        "kit": kits.pop(versions[0].way, {}) if versions else {},
        "kits_of_other_ways": kits,
        "check_tools": {pk: some for pk, some in tools.items() if some},
    }


def person_columns(person: Person) -> dict[str, Any]:
    return {"id": person.pk, "name": person.name, "username": person.username}


def register_columns(point: MeasuringPoint, transmitter: Transmitter | None) -> dict[str, Any]:
    """What a record would copy of the register, as the tablet gets it: decimals as text. Where the
    tolerance is the same both ways nothing more is said of its sides.
    """
    columns = register_of(point, transmitter or Transmitter(serial=""))
    if columns["tolerance_down"] is None:
        del columns["tolerance_down"]
    if columns["tolerance_sides"] == BOTH:
        del columns["tolerance_sides"]
    return {name: digits(v) if isinstance(v, Decimal) else v for name, v in columns.items()}


def register_sha(register: Mapping[str, Any]) -> str:
    """The mark of these columns: SHA-256 of their one text form."""
    text = json.dumps(register, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


# ---- what is read, a query each ----
def _jobs(by: Person, sites: Sequence[int], at: dt.datetime) -> list[Job]:
    """The person's open jobs; then free ones of their rounds, or planned or due within a week of
    today.
    """
    mine, today = Q(technician=by, state__in=Job.OPEN), at.date()
    week = (today - AROUND, today + AROUND)
    near = Q(planned_on__range=week) | Q(planned_on=None, due_on__range=week)
    free = Q(technician=None, state=Job.State.PLANNED) & (Q(round__technician=by) | near)
    returns = Calibration.objects.filter(job=OuterRef("pk"), state=Calibration.State.RETURNED)
    rows = (
        Job.objects.filter(mine | free, site__in=sites)
        .select_related("site", "point__tank__area", "point__tank__product", "point__site", "round")
        .annotate(
            rank=Case(When(mine, then=Value(0)), default=Value(1), output_field=IntegerField()),
            return_reason=Subquery(returns.order_by("-id").values("return_reason")[:1]),
        )
    )
    return list(rows.order_by("rank", "planned_on", "due_on", "pk")[:MOST_JOBS])


def _transmitters(points: Iterable[MeasuringPoint]) -> dict[int, Transmitter]:
    present = Installation.objects.filter(point__in=list(points), removed_on=None)
    return {row.point_id: row.transmitter for row in present.select_related("transmitter")}


def _versions(sites: Sequence[int]) -> Iterable[ProcedureVersion]:
    """Published versions with their steps, and the sites' own wordings, in one query."""
    steps = ProcedureStep.objects.filter(version=OuterRef("pk")).order_by("number")
    wordings = SiteWording.objects.filter(procedure=OuterRef("procedure"), site__in=sites)
    step = JSONObject(
        number="number",
        key="key",
        kind="kind",
        stage="stage",
        text="text",
        settle_seconds="settle_seconds",
        asks="asks",
        stop="stop",
    )
    wording = JSONObject(site="site_id", step_key="step_key", devices="devices", text="text")
    versions = (
        ProcedureVersion.objects.exclude(published_on=None)
        .select_related("procedure")
        .annotate(
            steps_json=ArraySubquery(steps.values(json=step)),
            wordings_json=ArraySubquery(wordings.values(json=wording)),
        )
        .order_by("procedure__name", "procedure_id", "-number")
    )
    for version in versions:
        # As the version itself would find it, by a query each.
        version.units_asked = units_of(step["asks"] for step in version.steps_json)
    return versions


def _certificates(
    sites: Sequence[int],
) -> dict[ReferenceStandard, list[StandardCertificate]]:
    """The sites' standards in use with their certificates that are not withdrawn, the longest valid
    first.
    """
    rows = StandardCertificate.objects.filter(
        standard__site__in=sites, standard__withdrawn_on=None, withdrawn_on=None
    )
    by_standard: dict[ReferenceStandard, list[StandardCertificate]] = defaultdict(list)
    rows = rows.select_related("standard__site")
    for row in rows.order_by("standard__name", "standard_id", "-valid_until"):
        by_standard[row.standard].append(row)
    return by_standard


def _last_records(points: Iterable[MeasuringPoint]) -> dict[int, Calibration]:
    rows = Calibration.objects.standing().filter(point__in=list(points))
    latest = rows.order_by("point_id", "-done_on", "-id").distinct("point_id")
    return {row.point_id: row for row in latest}


# ---- as JSON ----
def _job(job: Job, *, by: Person, at: dt.datetime) -> dict[str, Any]:
    is_returned = job.state == Job.State.RETURNED
    reason: str | None = job.return_reason  # type: ignore[attr-defined]
    return {
        "id": job.pk,
        "site": job.site_id,
        "site_name": job.site.name,
        "time_zone": job.site.time_zone,
        "today": job.site.day_of(at).isoformat(),
        "state": job.state,
        "why": job.get_why_display(),
        "due_on": job.due_on.isoformat(),
        "planned_on": job.planned_on and job.planned_on.isoformat(),
        "note": job.note,
        "return_reason": (reason or "") if is_returned else "",
        "round": job.round and job.round.name,
        "stop_number": job.stop_number,
        "mine": job.technician_id == by.pk,
    }


def _point(point: MeasuringPoint, transmitter: Transmitter | None) -> dict[str, Any]:
    register, tank = register_columns(point, transmitter), point.tank
    return {
        "register": register,
        "register_sha": register_sha(register),
        "point": {
            "id": point.pk,
            "url": point.get_absolute_url(),
            "duty": point.duty,
            "is_reverse": point.is_reverse,
            "tank_id": tank.pk,
            "area": tank.area.name,
        },
        "tank": {"conducts": tank.wall_conducts, "drawing": None},
        "product": tank.product
        and {
            "name": tank.product.name,
            "conducts": tank.product.conducts,
            "c": None if tank.product_c is None else float(tank.product_c),
        },
        "transmitter": transmitter
        and {
            "id": transmitter.pk,
            "serial": transmitter.serial,
            "maker": transmitter.maker,
            "model": transmitter.model,
            "principle": transmitter.principle,
            "wiring": transmitter.wiring,
        },
    }


def _last(record: Calibration) -> dict[str, Any]:
    return {
        "id": record.pk,
        "done_on": record.done_on.isoformat(),
        "found_verdict": record.found_verdict,
        "left_verdict": record.left_verdict,
        "found_errors": record.found_errors,
        "left_errors": record.left_errors,
        "url": record.get_absolute_url(),
    }


def _procedure(version: ProcedureVersion) -> dict[str, Any]:
    worded: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in version.wordings_json:  # type: ignore[attr-defined]
        worded[row["step_key"]].append({k: row[k] for k in ("site", "devices", "text")})
    return {
        "id": version.pk,
        "key": version.procedure.key,
        "name": version.procedure.name,
        "number": version.number,
        "way": version.way,
        "shape": version.shape,
        "percents": [digits(percent) for percent in version.percents],
        "up_and_down": version.up_and_down,
        "settle_seconds": version.settle_seconds,
        "adjusts": version.adjusts,
        "stops": version.stops,
        "steps": [
            step | {"wordings": worded.get(step["key"], []) if step["key"] else []}
            for step in version.steps_json  # type: ignore[attr-defined]
        ],
    }


def _standard(
    standard: ReferenceStandard, certificates: Sequence[StandardCertificate], by: Person
) -> dict[str, Any]:
    return {
        "id": standard.pk,
        "site": standard.site_id,
        "name": standard.name,
        "kind": standard.kind,
        "maker": standard.maker,
        "model": standard.model,
        "serial": standard.serial,
        "mine": standard.holder_id == by.pk,
        "note": standard.note,
        "certificates": [
            {
                "number": row.number,
                "from": row.issued_on.isoformat(),
                "until": row.valid_until.isoformat(),
                "unit": row.unit,
                "low": None if row.range_low is None else digits(row.range_low),
                "high": None if row.range_high is None else digits(row.range_high),
            }
            for row in certificates
        ],
    }
