"""Past calibrations against the register: judged as if typed in, stored as approved records.

A record is known by the site and its ``record`` cell: the same again changes nothing, and one that
differs is refused, for an approved record never changes. The range of the day is taken to be the
present one. As-found failures open no finding: they are history when they come in.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from calibration.drift import trends
from calibration.importing.calibration_columns import CALIBRATIONS
from calibration.importing.known import Known
from calibration.importing.new_records import NewRecord, judged_record, submission_of
from calibration.importing.past_readings import STAGES
from calibration.importing.past_records import PastRecord, read_records
from calibration.intervals.due_dates import reschedule
from calibration.policies.models import Policy
from calibration.records.models import Calibration
from plant.importing.columns import Parsed
from plant.importing.importer import Change, Context, Importer, Outcome
from plant.importing.staging import copy_models, number


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
    counts = Counter({stage: len(readings) for stage, readings in record.readings.items()})
    counts[STAGES[0]] += len(record.without_level)
    return {
        "tag": ["", record.values["tag"]],
        "day": ["", record.values["done_on"].isoformat()],
        "readings": ["", ", ".join(f"{count} {stage}" for stage, count in counts.items() if count)],
    }


def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    """Records with their parts by COPY, in one transaction as the database asks; then due dates and
    trends.
    """
    people = Known.people(context.site)
    policies = Policy.objects.of_points(
        {past.point.pk: past.point for past in outcome.plan if past.point}.values()
    )
    records = [judged_record(past, context, people, policies) for past in outcome.plan]
    rows = [record.row for record in records]
    number(rows)  # first, for their parts name them
    parts = _parts_of(records)
    for kind in parts:
        number(kind)
    copy_models(rows)
    for kind in parts:
        copy_models(kind)
    points = sorted({row.point_id for row in rows})
    reschedule(points)
    trends.refit(points)


def _parts_of(records: list[NewRecord]) -> list[list[Any]]:
    return [
        [reading for record in records for reading in record.readings()],
        [adjustment for record in records for adjustment in record.adjustments()],
        [use for record in records for use in record.standards()],
    ]


CALIBRATION_IMPORTER = Importer(CALIBRATIONS, _check, _write)
