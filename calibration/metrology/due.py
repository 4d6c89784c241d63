"""When the next calibration is due.

A due date is a day in the site's calendar; months clamp at month end.
"""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass

from plant.level.checks import BadArgument, whole_numbers

LONGEST_INTERVAL = 120  # months


def add_months(day: dt.date, months: int) -> dt.date:
    """The same day of the month so many months later, or the last day of a shorter month.

    Raises BadArgument for months that are no whole number, or lead out of the calendar.

    >>> add_months(dt.date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    """
    whole_numbers("months", abs(months), below=12 * 10_000)
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    if not dt.MINYEAR <= year <= dt.MAXYEAR:
        raise BadArgument("months", f"{months} months from {day} is no day of the calendar")
    if day.day <= 28:
        return dt.date(year, month, day.day)
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


@dataclass(frozen=True)
class Schedule:
    """due_on lies anchor_months after anchor_on.

    The anchor is kept, for its day of the month must survive February.
    """

    anchor_on: dt.date
    anchor_months: int
    due_on: dt.date


def next_due(
    done_on: dt.date,
    *,
    interval_months: int,
    grace_days: int = 0,
    previous: Schedule | None = None,
) -> Schedule:
    """The schedule after a calibration done on ``done_on``.

    Done within ``grace_days`` of the previous due date, on either side, the cycle keeps its
    anchor: the due date is counted from there, so a day early or late never shifts the cycle.
    Done at any other time, or for the first time, the cycle starts anew on that day. Raises
    BadArgument for an interval outside 1 to 120 months or a negative grace.

    >>> january = Schedule(dt.date(2026, 1, 31), 1, dt.date(2026, 2, 28))
    >>> next_due(dt.date(2026, 2, 26), interval_months=1, grace_days=3, previous=january).due_on
    datetime.date(2026, 3, 31)
    """
    if not 1 <= interval_months <= LONGEST_INTERVAL:
        raise BadArgument(
            "interval_months",
            f"{interval_months} is not an interval; it must be 1 to {LONGEST_INTERVAL} months",
        )
    if grace_days < 0:
        raise BadArgument("grace_days", f"{grace_days} is below zero")
    if previous is not None and abs((done_on - previous.due_on).days) <= grace_days:
        anchor_on, months = previous.anchor_on, previous.anchor_months + interval_months
    else:
        anchor_on, months = done_on, interval_months
    return Schedule(anchor_on, months, add_months(anchor_on, months))
