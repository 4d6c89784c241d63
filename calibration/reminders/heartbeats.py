"""When each periodic task last ran to its end, and whether it still runs."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from calibration.reminders.models import Heartbeat

# What each task does, in words.
TASKS = {
    "scan_reminders": "writes reminders",
    "send_waiting": "sends mail",
    "run_waiting_imports": "checks and applies imports",
    "renew_fleet": "computes drift when asked",
    "renew_fleet_nightly": "computes drift every night",
    "look_at_statuses": "looks at each status as days go by",
    "look_into_product_changes": "asks for calibrations after a change of product",
}
EVERY_MINUTE = ("scan_reminders", "send_waiting")
STANDS_STILL_AFTER = dt.timedelta(seconds=240)
"""A task of every minute counts as stopped after four missed turns, seen within five minutes."""


class Turn(NamedTuple):
    """A task, what it does, when it last ran (None: not yet), and whether it stands still."""

    task: str
    does: str
    at: dt.datetime | None
    stopped: bool


def turns(*, at: dt.datetime) -> list[Turn]:
    """Every task; one query."""
    known = dict(Heartbeat.objects.values_list("task", "at"))
    return [
        Turn(task, does, known.get(task), _stopped(task, known.get(task), at=at))
        for task, does in TASKS.items()
    ]


def _stopped(task: str, last: dt.datetime | None, *, at: dt.datetime) -> bool:
    return task in EVERY_MINUTE and (last is None or at - last > STANDS_STILL_AFTER)


def beat(task: str, *, at: dt.datetime) -> None:
    """Note that ``task`` ran to its end at ``at``; no ledger entry, since nobody's record
    changes.
    """
    Heartbeat.objects.bulk_create(
        [Heartbeat(task=task, at=at)],
        update_conflicts=True,
        unique_fields=["task"],
        update_fields=["at"],
    )
