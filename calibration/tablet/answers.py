"""What the tablet gets back for a work: how it was judged and what happens next, or why it was set
aside.
"""

from __future__ import annotations

from typing import Any

from calibration.intervals.due_dates import schedule_with
from calibration.records.models import Calibration
from calibration.tablet.content import read
from calibration.tablet.models import FieldWork
from plant.quantities import percent, plus_minus
from plant.refusals import Refused


def answer_to(work: FieldWork) -> dict[str, Any]:
    """``work`` as calibration.tablet.acts.receive gives it."""
    photos = {"photos_missing": _photos_missing(work)}
    record = work.record
    if record is None:
        return {
            "state": work.state,
            "url": work.get_absolute_url(),
            "troubles": work.troubles,
            "settled": work.settled_why,
        } | photos
    return {
        "state": "stored",
        "record": record.pk,
        "url": record.get_absolute_url(),
        "found": {"verdict": record.found_verdict, "largest": record.found_largest},
        "left": {"verdict": record.left_verdict, "largest": record.left_largest},
        "rule": record.decision_rule,
        "troubles": work.troubles,
        "next": _next(work, record),
    } | photos


def _next(work: FieldWork, record: Calibration) -> dict[str, Any]:
    point = work.job.point
    done: list[dict[str, Any]] = work.parts_done  # type: ignore[attr-defined]
    present: list[int] = work.present_ids  # type: ignore[attr-defined]
    schedule = schedule_with(record, done, present=present)
    approvers: list[dict[str, Any]] = work.approvers  # type: ignore[attr-defined]
    months = point.interval_months
    return {
        "approvers": [one["name"] for one in approvers if one["id"] != record.performed_by_id],
        "due_on": (schedule.due_on if schedule else point.due_on).isoformat(),
        "moves_due": schedule is not None,
        "interval": f"{months} month{'' if months == 1 else 's'}",
        "finding": record.found_verdict == "fail",
        "label_url": f"{point.get_absolute_url()}label/",
        "adjust_said": _adjust_said(record),
    }


def _adjust_said(record: Calibration) -> str:
    """Whether it was adjusted as its limits ask for."""
    limit = f"the adjust limit of {plus_minus(record.adjust_limit_percent)} of span"
    error = record.found_furthest_from_zero
    if record.found_verdict == "fail" and record.shows_failure:
        return (
            "Found failed; adjusted." if record.adjusted else "Found failed; nothing was adjusted."
        )
    if error is None:
        return "Adjusted; as found is missing." if record.adjusted else "As found is missing."
    as_found = f"As found {percent(error, record.tolerance_percent)} %"
    if abs(error) > record.adjust_limit_percent:
        done = "adjusted" if record.adjusted else "not adjusted: plan the adjustment"
        return f"{as_found}, beyond {limit}; {done}."
    done = "adjusted all the same" if record.adjusted else "nothing was adjusted"
    return f"{as_found}, within {limit}; {done}."


def _photos_missing(work: FieldWork) -> list[str]:
    here = set(work.photos_here)  # type: ignore[attr-defined]
    try:
        named = [photo.sha256 for photo in read(work.content).photos]
    except Refused:
        return []
    return [sha for sha in named if sha not in here]
