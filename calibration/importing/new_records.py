"""A past calibration as the record that it becomes, judged as if typed in today."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from calibration.importing.past_readings import STAGES
from calibration.importing.past_records import PastRecord
from calibration.policies.models import Policy
from calibration.procedures.models import parts_tested
from calibration.records.judging import (
    Range,
    StageResult,
    figure_columns,
    judge_stages,
    shape_column,
    with_what_it_stood_at,
)
from calibration.records.models import Adjustment, Calibration, Reading, StandardUse
from calibration.records.register_copy import register_of
from calibration.records.setup import Setup
from plant.importing.importer import Context

NAMESPACE = uuid.UUID("6c1f6f0e-0d5a-5f0b-9f0e-5b1d2a7c9e43")


NOON = dt.time(12)


def submission_of(site_code: str, key: str) -> uuid.UUID:
    """The id under which an imported record is known: of its site's code and its key in the
    file.
    """
    return uuid.uuid5(NAMESPACE, f"{site_code}\n{key}")


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


def judged_record(
    past: PastRecord, context: Context, people: dict[str, int], policies: dict[int, Policy]
) -> NewRecord:
    """The record judged by the rules of today, at the range the point has now."""
    point, transmitter, values = past.point, past.transmitter, past.values
    if point is None or transmitter is None:
        raise ValueError(f"record {past.key} was not checked")
    against = Range.of_point(point)
    test = Setup(
        point,
        transmitter,
        values["way"],
        past.certificates,
        values.get("ambient_c"),
        values.get("product_c"),
        past.version,
    )
    judged, uncertainty = judge_stages(
        past.readings, against, test, policies[point.pk], past.without_level
    )
    judged = with_what_it_stood_at(judged)
    found, left = judged["as found"], judged["as left"]
    row = Calibration(
        site=context.site,
        point=point,
        transmitter=transmitter,
        shows_failure=found.shows_failure or left.shows_failure,
        shape=shape_column(found, left),
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
        **parts_tested(past.version, values["way"]),
    }


def _noon(day: dt.date, context: Context) -> dt.datetime:
    """Papers give the day, not the hour."""
    return dt.datetime.combine(day, NOON, tzinfo=context.site.zone)
