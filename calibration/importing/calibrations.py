"""Past calibrations against the register: judged as if typed in, stored as approved records.

A record is known by the site and its ``record`` cell: the same again changes nothing, and one that
differs is refused, for an approved record never changes. The range of the day is taken to be the
present one. As-found failures open no finding: they are history when they come in.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from calibration.drift import trends
from calibration.importing.calibration_columns import CALIBRATIONS
from calibration.importing.known import Known
from calibration.importing.past_records import STAGES, PastRecord, read_records
from calibration.intervals.due_dates import reschedule
from calibration.policies.models import Policy
from calibration.records.judging import Range, StageResult, figure_columns, judge_stages
from calibration.records.models import Adjustment, Calibration, Reading, StandardUse
from calibration.records.register_copy import register_of
from calibration.records.setup import Setup
from plant.importing.columns import Parsed
from plant.importing.importer import Change, Context, Importer, Outcome
from plant.importing.staging import copy_models, number

NAMESPACE = uuid.UUID("6c1f6f0e-0d5a-5f0b-9f0e-5b1d2a7c9e43")
NOON = dt.time(12)


def submission_of(site_code: str, key: str) -> uuid.UUID:
    """The id under which an imported record is known: of its site's code and its key in the
    file.
    """
    return uuid.uuid5(NAMESPACE, f"{site_code}\n{key}")


def _check(parsed: Parsed, context: Context) -> Outcome:
    records = read_records(parsed, context)
    return Outcome() if parsed.problems else _compare(parsed, records, context)


# ---- what is new ----
def _compare(parsed: Parsed, records: list[PastRecord], context: Context) -> Outcome:
    outcome = Outcome(plan=[])
    ids = {submission_of(context.site.code, record.key): record for record in records}
    stored = dict(
        Calibration.objects.filter(submission__in=ids).values_list("submission", "content_sha256")
    )
    for submission, record in ids.items():
        if submission not in stored:
            outcome.plan.append(record)
            outcome.count(Change(parsed.rows[record.first], record.key, True, _summary(record)))
        elif stored[submission] == record.digest:
            outcome.count(None)
        else:
            reason = (
                "was imported before with other contents; an approved record never changes: "
                "amend it on its page"
            )
            parsed.refuse(record.first, "record", reason)
    return outcome


def _summary(record: PastRecord) -> dict[str, list[str]]:
    counts = {stage: len(readings) for stage, readings in record.readings.items() if readings}
    return {
        "tag": ["", record.values["tag"]],
        "day": ["", record.values["done_on"].isoformat()],
        "readings": ["", ", ".join(f"{count} {stage}" for stage, count in counts.items())],
    }


# ---- writing ----
@dataclass
class NewRecord:
    """A past record with the row that it becomes, and its tests as judged, stage by stage."""

    past: PastRecord
    row: Calibration
    judged: list[StageResult]

    def readings(self) -> list[Reading]:
        readings = [reading for stage in self.judged for reading in stage.readings]
        for reading in readings:
            reading.record = self.row
        return readings

    def adjustments(self) -> list[Adjustment]:
        kinds = self.past.values.get("adjusted", ())
        return [Adjustment(record=self.row, number=n, kind=kind) for n, kind in enumerate(kinds, 1)]

    def standards(self) -> list[StandardUse]:
        return [
            StandardUse(record=self.row, standard=standard, certificate=certificate)
            for standard, certificate in self.past.certificates
        ]


def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    """Records with their parts by COPY, in one transaction as the database asks; then due dates and
    trends.
    """
    people = Known.people(context.site)
    policies = Policy.objects.of_points(
        {past.point.pk: past.point for past in outcome.plan if past.point}.values()
    )
    records = [_judged(past, context, people, policies) for past in outcome.plan]
    number([record.row for record in records])
    readings = [row for record in records for row in record.readings()]
    adjustments = [row for record in records for row in record.adjustments()]
    uses = [row for record in records for row in record.standards()]
    for rows in (readings, adjustments, uses):
        number(rows)
    copy_models([record.row for record in records])
    for rows in (readings, adjustments, uses):
        copy_models(rows)
    points = sorted({record.row.point_id for record in records})
    reschedule(points)
    trends.refit(points)


def _judged(
    past: PastRecord, context: Context, people: dict[str, int], policies: dict[int, Policy]
) -> NewRecord:
    """The record judged by the rules of today, at the range the point has now."""
    point, transmitter, values = past.point, past.transmitter, past.values
    if point is None or transmitter is None:
        raise ValueError(f"record {past.key} was not checked")
    against = Range(float(point.lower), float(point.upper), point.signal, point.limits.percent)
    test = Setup(
        point,
        transmitter,
        values["way"],
        past.certificates,
        values.get("ambient_c"),
        values.get("product_c"),
    )
    judged, uncertainty = judge_stages(past.readings, against, test, policies[point.pk])
    found, left = judged["as found"], judged["as left"]
    row = Calibration(
        site=context.site,
        point=point,
        transmitter=transmitter,
        shows_failure=found.shows_failure or left.shows_failure,
        **_as_signed(past, context, people),
        **register_of(point, transmitter),
        **uncertainty,
        **figure_columns("found", found),
        **figure_columns(
            "left", left if left.readings else found
        ),  # not adjusted: as left is as found
    )
    return NewRecord(past, row, [judged[stage] for stage in STAGES])


def _as_signed(past: PastRecord, context: Context, people: dict[str, int]) -> dict[str, Any]:
    """What the paper says of the record: who, when, how."""
    values = past.values
    done, approved = values["done_on"], values.get("approved_on") or values["done_on"]
    return {
        "procedure_version": past.version,
        "source": Calibration.Source.IMPORTED,
        "state": Calibration.State.APPROVED,
        "submission": submission_of(context.site.code, past.key),
        "content_sha256": past.digest,
        "submitted_at": _noon(done, context),
        "done_on": done,
        "performed_by_id": people.get(values["performed_by"].casefold()),
        "performed_by_name": values["performed_by"],
        "approved_by_id": people.get(values["approved_by"].casefold()),
        "approved_by_name": values["approved_by"],
        "approved_at": _noon(approved, context),
        "way": values["way"],
        "ambient_c": values.get("ambient_c"),
        "product_c": values.get("product_c"),
        "no_as_found_reason": values.get("no_as_found_reason", ""),
        "note": values.get("note", ""),
        "adjusted": bool(values.get("adjusted")),
    }


def _noon(day: dt.date, context: Context) -> dt.datetime:
    """Papers give the day, not the hour."""
    return dt.datetime.combine(day, NOON, tzinfo=context.site.zone)


CALIBRATION_IMPORTER = Importer(CALIBRATIONS, _check, _write)
