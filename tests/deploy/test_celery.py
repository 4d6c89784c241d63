"""Messages are hints: none of them can break the page that sent it."""

from __future__ import annotations

import pytest
from celery import shared_task
from django.conf import settings
from django.db import transaction

from deploy.celery import app, redis_client


@shared_task
def a_task() -> None: ...


@pytest.fixture
def queue():
    with redis_client() as client:
        client.delete("celery")
        yield client
        client.delete("celery")


@pytest.mark.django_db(transaction=True)
def test_a_task_is_woken_only_after_the_commit(queue):
    with transaction.atomic():
        a_task.delay_on_commit()
        assert queue.llen("celery") == 0
    assert queue.llen("celery") == 1


@pytest.mark.django_db(transaction=True)
def test_a_queue_that_is_down_does_not_undo_or_break_what_was_committed(monkeypatch, caplog):
    def refuse(*args, **options):
        raise OSError("no queue")

    monkeypatch.setattr(a_task, "delay", refuse)
    with transaction.atomic():
        a_task.delay_on_commit()
    assert "no queue" in caplog.text


def test_every_task_of_the_schedule_exists_and_its_old_turns_are_dropped():
    app.loader.import_default_modules()
    for entry in settings.CELERY_BEAT_SCHEDULE.values():
        assert entry["task"] in app.tasks
        assert entry["options"]["expires"] <= entry["schedule"]


def test_the_longest_task_ends_before_its_message_would_be_given_to_another_worker():
    given_again = settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
    assert given_again > settings.CELERY_TASK_TIME_LIMIT
