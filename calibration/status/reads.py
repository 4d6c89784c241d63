"""When parts of a calibration complete each other, with one that is not approved yet among them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple


class Part(NamedTuple):
    """What one calibration that left nothing out of tolerance covers."""

    day: dt.date
    output: bool
    primary: bool


def unpacked(rows: Iterable[Mapping[str, Any]]) -> tuple[list[Part], int]:
    """Parts out of their JSON, and within how many days two complete each other (0 without any)."""
    known = list(rows)
    parts = [
        Part(dt.date.fromisoformat(row["day"]), row["output"], row["primary"]) for row in known
    ]
    return parts, max((row["within"] for row in known), default=0)


def complete_days(parts: Iterable[Part], *, within_days: int) -> list[dt.date]:
    """The days from which an interval counts: of each calibration that, by itself or with the other
    part at most ``within_days`` before it, covers output and primary element, the older of the two.

    The view calibration_completeresult says the same of what is approved;
    tests/calibration/status/test_parts.py holds the two together.
    """
    days, output, primary = [], None, None
    for part in sorted(parts, key=lambda part: part.day):
        output = part.day if part.output else output
        primary = part.day if part.primary else primary
        if output and primary and min(output, primary) >= part.day - dt.timedelta(within_days):
            days.append(min(output, primary))
    return days
