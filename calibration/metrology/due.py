from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass


def add_months(day: dt.date, months: int) -> dt.date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


@dataclass(frozen=True)
class Schedule:
    anchor_on: dt.date
    anchor_months: int
    due_on: dt.date


def next_due(done_on, *, interval_months, grace_days=0, previous=None) -> Schedule:
    if previous and abs((done_on - previous.due_on).days) <= grace_days:
        months = previous.anchor_months + interval_months
        return Schedule(previous.anchor_on, months, add_months(previous.anchor_on, months))
    return Schedule(done_on, interval_months, add_months(done_on, interval_months))
