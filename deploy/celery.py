"""The Celery app: a worker and a beat that wake tasks; what there is to do stands in the
database.
"""

from __future__ import annotations

import os
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


class HintTask(Task):
    """A task whose message is only a hint: a queue that is down never breaks the page that sent
    it.
    """

    abstract = True

    def delay_on_commit(self, *args: Any, **kwargs: Any) -> None:
        """Wake the task once the transaction is committed; a failure to do so is logged, not
        raised.
        """

        def wake() -> None:
            self.delay(*args, **kwargs)

        transaction.on_commit(wake, robust=True)


app = Celery("spanbook", task_cls=HintTask)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.set_default()
app.autodiscover_tasks()


def redis_client() -> redis.Redis:
    return redis.Redis.from_url(settings.REDIS.client, socket_connect_timeout=2, socket_timeout=2)


@beat_init.connect
def tick_at_once(**_: Any) -> None:
    """What fell due while Spanbook was down need not wait for the first turn of the schedule."""
    for name, entry in settings.CELERY_BEAT_SCHEDULE.items():
        app.send_task(name, expires=entry["schedule"])
