"""The tasks on a real queue: hints that a worker takes, and what a killed worker leaves behind."""

from __future__ import annotations

import datetime as dt
import email
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import pytest
from django.conf import settings
from django.db import connection
from django.utils import timezone

import deploy.celery  # the queue of .delay()
from calibration import tasks
from calibration.reminders import heartbeats
from calibration.reminders.models import Digest, Heartbeat, Reminder
from tests import makers

PATIENCE = 30


@pytest.fixture
def due_today(transactional_db):
    site = makers.a_site(digest_at=dt.time(0))
    makers.a_person("amarrowby", "planner", name="A. Marrowby")
    return makers.a_point(due_on=site.day_of(timezone.now()))


@pytest.fixture
def worker(transactional_db, tmp_path) -> Iterator[Callable[[], subprocess.Popen]]:
    """Starts workers of the site's own on the test database; mails land in ``tmp_path``."""
    address = urlsplit(os.environ["DATABASE_URL"])
    database = address._replace(path="/" + connection.settings_dict["NAME"])
    env = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
        "DATABASE_URL": urlunsplit(database),
        "SPANBOOK_MAIL_FOLDER": str(tmp_path),
    }
    words = [
        sys.executable,
        "-m",
        "celery",
        "-A",
        "deploy.celery",
        "worker",
        "-P",
        "solo",
        "-l",
        "WARNING",
    ]
    started: list[subprocess.Popen] = []

    def start() -> subprocess.Popen:
        process = subprocess.Popen(words, env=env, start_new_session=True)
        started.append(process)
        return process

    with deploy.celery.app.connection_for_write() as queue:
        queue.default_channel.queue_purge(deploy.celery.app.conf.task_default_queue)
    yield start
    for process in started:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def wait_until(true: Callable[[], bool]) -> bool:
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.1)
    return False


def message_ids(folder: Path) -> list[str]:
    texts = [file.read_text() for file in sorted(folder.glob("*.log"))]
    mails = [part for text in texts for part in text.split("-" * 79) if part.strip()]
    return [email.message_from_string(mail.lstrip())["Message-ID"] for mail in mails]


def test_a_worker_killed_and_started_again_still_delivers(due_today, worker, tmp_path):
    first = worker()
    tasks.scan_reminders.delay()
    assert wait_until(Reminder.objects.exists)
    tasks.send_waiting.delay()
    os.killpg(first.pid, signal.SIGKILL)  # before, amid or after its work: it must not matter
    first.wait()
    # Five minutes pass: whatever lease the dead worker held runs out.
    Digest.objects.filter(sent_at=None).update(claimed_until=None)
    worker()
    tasks.send_waiting.delay()  # what beat does every minute
    assert wait_until(Digest.objects.filter(sent_at__isnull=False).exists)
    digest = Digest.objects.get()
    assert set(message_ids(tmp_path)) == {digest.message_id}
    tasks.scan_reminders.delay()
    tasks.send_waiting.delay()
    written = Reminder.objects.count()
    assert wait_until(lambda: Heartbeat.objects.filter(task="send_waiting").exists())
    assert (Reminder.objects.count(), Digest.objects.count()) == (written, 1)


def test_a_task_that_ran_leaves_its_heartbeat(due_today, settings):
    tasks.scan_reminders()
    tasks.send_waiting()
    beats = dict(Heartbeat.objects.values_list("task", "at"))
    assert set(beats) == {"scan_reminders", "send_waiting"}
    tasks.scan_reminders()
    assert Heartbeat.objects.get(task="scan_reminders").at > beats["scan_reminders"]
    assert Heartbeat.objects.count() == 2


def test_beat_wakes_both_tasks_by_the_names_they_have():
    woken = {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}
    assert {tasks.scan_reminders.name, tasks.send_waiting.name} <= woken


def test_each_task_says_what_it_does_where_administrators_look():
    written = {name for name in vars(tasks) if hasattr(getattr(tasks, name), "delay")} - {
        "shared_task"
    }
    assert set(heartbeats.TASKS) == written
