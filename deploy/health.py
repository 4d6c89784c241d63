"""Whether the parts of this installation do their work, for a monitor to ask."""

from __future__ import annotations

import time
from dataclasses import dataclass

import redis
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from deploy.celery import HEART_KEY, redis_client

HEART_STOPS_AFTER = 150
"""Seconds without a beat until worker or beat counts as stopped: five missed beats."""


@dataclass(frozen=True)
class Part:
    well: bool
    says: str


@require_safe
@never_cache
@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """200 when all is well, 503 when something is not; names the part and nothing else about it."""
    parts = {"database": database(), "redis": queue(), "tasks": tasks(now=time.time())}
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


def tasks(*, now: float) -> Part:
    """Beat sends the heartbeat and a worker writes it: a fresh one shows both."""
    try:
        with redis_client() as client:
            last = client.get(HEART_KEY)
    except (redis.RedisError, OSError):
        return Part(False, "unknown, since Redis does not answer")
    if last is None:
        return Part(False, "no heartbeat yet")
    age = max(0, round(now - float(str(last))))
    return Part(age <= HEART_STOPS_AFTER, f"last heartbeat {age} s ago")
