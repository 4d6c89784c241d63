"""The page a monitor asks."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from calibration.reminders.heartbeats import EVERY_MINUTE, beat

pytestmark = pytest.mark.django_db


def all_ran(*, seconds_ago: int = 0) -> None:
    for task in EVERY_MINUTE:
        beat(task, at=timezone.now() - dt.timedelta(seconds=seconds_ago))


def test_health_needs_no_sign_in_and_is_well_when_tasks_run(client):
    all_ran()
    answer = client.get("/health/")
    assert answer.status_code == 200
    assert answer.json()["parts"]["database"] == "answers"


def test_health_is_not_well_before_every_task_has_run(client):
    beat("scan_reminders", at=timezone.now())
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["parts"]["tasks"] == "send_waiting has not run yet"


def test_one_task_that_stands_still_is_named_within_five_minutes(client):
    all_ran()
    beat("scan_reminders", at=timezone.now() - dt.timedelta(seconds=299))
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["parts"]["tasks"].startswith("scan_reminders last ran")


def test_a_missed_turn_or_two_is_no_alarm(client):
    all_ran(seconds_ago=150)
    assert client.get("/health/").status_code == 200


def test_health_says_when_redis_does_not_answer(client, settings):
    all_ran()
    settings.REDIS = type(settings.REDIS)("unix:///nowhere/redis.sock?db=0", "")
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["parts"]["redis"] == "does not answer"
