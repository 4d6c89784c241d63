"""Whether the parts of this installation do their work, for a monitor to ask."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import redis
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from calibration.reminders.heartbeats import EVERY_MINUTE, turns
from deploy.celery import redis_client


@dataclass(frozen=True)
class Part:
    well: bool
    says: str


@require_safe
@never_cache
@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """200 when all is well, 503 when something is not; names the part and nothing else about it."""
    parts = {"database": database(), "redis": queue(), "tasks": tasks(at=timezone.now())}
    well = all(part.well for part in parts.values())
    body = {"well": well, "parts": {name: part.says for name, part in parts.items()}}
    return JsonResponse(body, status=200 if well else 503)


def database() -> Part:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return Part(False, "does not answer")
    return Part(True, "answers")


def queue() -> Part:
    try:
        with redis_client() as client:
            client.ping()
    except (redis.RedisError, OSError):
        return Part(False, "does not answer")
    return Part(True, "answers")


def tasks(*, at: dt.datetime) -> Part:
    """Beat wakes the tasks, Redis passes it on, a worker runs them: fresh turns show all three."""
    try:
        known = [turn for turn in turns(at=at) if turn.task in EVERY_MINUTE]
    except DatabaseError:
        return Part(False, "unknown, since the database does not answer")
    missing = [turn.task for turn in known if turn.at is None]
    if missing:
        return Part(False, f"{missing[0]} has not run yet")
    last, task, stopped = min((turn.at or at, turn.task, turn.stopped) for turn in known)
    return Part(not stopped, f"{task} last ran {max(0, round((at - last).total_seconds()))} s ago")
