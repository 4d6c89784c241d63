"""A morning at Marram Point, what is due around it, and the mail that leaves then."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from calibration.reminders import outbox
from plant.points.models import MeasuringPoint
from tests import makers

LISBON = ZoneInfo("Europe/Lisbon")
DAY = dt.date(2026, 11, 2)
MORNING = dt.datetime(2026, 11, 2, 6, 0, tzinfo=LISBON)


def due_in(days: int, tag: str = "LT-101A", **more) -> MeasuringPoint:
    return makers.a_point(tag, due_on=DAY + dt.timedelta(days), **more)


def on(day: dt.date, hour: int = 6, zone: ZoneInfo = LISBON) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(hour), tzinfo=zone)


def send_at(at: dt.datetime, **more) -> int:
    return outbox.send_waiting(clock=lambda: at, **more)
