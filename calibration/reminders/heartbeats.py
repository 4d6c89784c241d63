"""When each periodic task last ran to its end."""

from __future__ import annotations

import datetime as dt

from calibration.reminders.models import Heartbeat


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
