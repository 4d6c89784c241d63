"""What an approver should look at twice before signing a record."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.records.budgets import METERS
from calibration.records.computed import third_level
from calibration.records.figures import least_tur, tur_is_low
from calibration.records.models import Calibration, Reading, StandardUse
from plant.quantities import number, percent

LATE_DAYS = 2
ODD_BANDS = {"failure low", "suspect low", "suspect high", "failure high"}


def unusual(
    record: Calibration, readings: list[Reading], uses: Sequence[StandardUse] = ()
) -> list[str]:
    """Sentences, gravest first; empty when nothing about the record is out of the ordinary."""
    return [
        *_verdicts(record, readings),
        *_missing(record, readings),
        *_no_meter(readings, uses),
        *_adjusting(record),
        *_else(record, readings),
    ]


def _verdicts(record: Calibration, readings: list[Reading]) -> list[str]:
    said = []
    for stage, verdict in (("as found", record.found_verdict), ("as left", record.left_verdict)):
        outside = [r for r in readings if r.stage == stage and r.verdict == "fail"]
        if verdict == "fail" and outside:
            every = sum(r.stage == stage for r in readings)
            then = (
                " Approving opens a finding."
                if stage == "as found"
                else " It goes back to service like this."
            )
            said.append(
                f"{stage.capitalize()}, {len(outside)} of {every} readings are out of "
                f"tolerance.{then}"
            )
        open_ = [r for r in readings if r.stage == stage and r.verdict == "inconclusive"]
        if open_ and verdict == "inconclusive":
            said.append(
                f"{stage.capitalize()}, {len(open_)} readings are inconclusive: the uncertainty "
                "straddles the limit. "
                + (
                    "It is not shown that it goes back to service in tolerance; a better standard "
                    "would decide."
                    if stage == "as left"
                    else "A better standard would decide; until then it is no pass."
                )
            )
    if tur_is_low(record) and record.tur is not None:
        said.append(
            f"The test uncertainty ratio is {number(record.tur, 1)} to 1, below the "
            f"{number(least_tur(record), 1)} to 1 that the policy asks for."
        )
    bands = sorted({f"{r.observed:f} is {r.band}" for r in readings if r.band in ODD_BANDS})
    if bands:
        said.append(f"By NE 43 {', '.join(bands)}: evidence of a failure rather than of drift.")
    return said


def _missing(record: Calibration, readings: list[Reading]) -> list[str]:
    said = []
    if not record.found_verdict:
        said.append(f"As found is missing: {record.no_as_found_reason}")
    elif record.no_as_found_reason:
        said.append(f"As found is incomplete: {record.no_as_found_reason}")
    if not any(r.stage == "as it stands" for r in readings):
        said.append("It was not read as it stands before anything was moved.")
    return said


def _no_meter(readings: list[Reading], uses: Sequence[StandardUse]) -> list[str]:
    """An output that was read by nobody knows what; a record that names no standard says so
    elsewhere.
    """
    is_read = any(r.observed is not None for r in readings)
    if not uses or not is_read or any(use.standard.kind in METERS for use in uses):
        return []
    return ["No meter is among its standards: what read the output cannot be traced."]


def _adjusting(record: Calibration) -> list[str]:
    limit, largest = record.adjust_limit_percent, record.found_largest
    if largest is None:
        return []
    shown = f"{percent(largest, limit)} % of span against the adjust limit ±{number(limit, 2)} %"
    if record.adjusted and abs(largest) <= limit:
        return [f"Adjusted although the largest as-found error was {shown}."]
    if not record.adjusted and abs(largest) > limit:
        return [f"Not adjusted although the largest as-found error was {shown}."]
    return []


def _else(record: Calibration, readings: list[Reading]) -> list[str]:
    said = []
    if record.amends_id:
        said.append(f"It amends record {record.amends_id}: {record.amend_reason}")
    late = (record.site.day_of(record.submitted_at) - record.done_on).days
    if late >= LATE_DAYS:
        said.append(f"Entered {late} days after it was done.")
    hysteresis = record.found_hysteresis or 0
    if hysteresis > record.tolerance_percent / 2:
        said.append(
            f"Hysteresis of {number(hysteresis, 2)} % of span as found, more than half the "
            "tolerance."
        )
    if any(r.origin == "computed" for r in readings):
        said.append("Some readings were computed, not read.")
    third = third_level(record, readings)
    if third and third.open and abs(third.off) > third.open:
        said.append(
            f"As it stands it lay {percent(third.off, record.tolerance_percent)} % of span off "
            "the line through the "
            f"two levels, more than the {number(third.open, 2)} % that the readings leave open: "
            "what was computed from "
            "that line is doubtful."
        )
    return said
