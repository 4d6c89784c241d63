"""The Celery app: a worker and a beat that wake tasks; what there is to do stands in the database."""

from __future__ import annotations

import functools
import os
import time
import warnings
from typing import Any

import redis
from celery import Celery, Task
from celery.platforms import SecurityWarning
from celery.signals import beat_init
from django.conf import settings
from django.db import transaction

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

# Said once, in one line, by the supervisor instead.
warnings.filterwarnings("ignore", category=SecurityWarning)

HEART_KEY = "spanbook:heart"


class HintTask(Task):
    """A task whose message is only a hint: a queue that is down never breaks the page that sent it."""

    abstract = True

    def delay_on_commit(self, *args: Any, **kwargs: Any) -> None:
        """Wake the task once the transaction is committed; a failure to do so is logged, not raised."""
        transaction.on_commit(functools.partial(self.delay, *args, **kwargs), robust=True)


app = Celery("spanbook", task_cls=HintTask)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.set_default()
app.autodiscover_tasks()


def redis_client() -> redis.Redis:
    return redis.Redis.from_url(
        settings.REDIS.client, socket_connect_timeout=2, socket_timeout=2, decode_responses=True
    )


@app.task(name="deploy.celery.beat_heart")
def beat_heart() -> None:
    """Shows that beat, Redis and a worker pass work along; /health/ asks how long ago."""
    with redis_client() as client:
        client.set(HEART_KEY, repr(time.time()))


@beat_init.connect
def beat_at_once(**_: Any) -> None:
    """The first beat, so that /health/ need not wait for the schedule."""
    beat_heart.delay()
