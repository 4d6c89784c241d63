"""The servers of one test run: real ones, started fresh and gone at its end.

They are named first, so that the settings can be read, and started when something needs them;
with several workers each has servers of its own. DATABASE_URL and REDIS_URL, when set, are used
instead. What the tests need is then a role that may create databases.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import shutil
import signal
import sys
import tempfile
from pathlib import Path

import psycopg

from deploy.places import Places, account_for_servers
from deploy.postgres import OWNER, SUPERUSER, Postgres
from deploy.redis import Redis

NAMES = ("DATABASE_URL", "REDIS_URL")


class Servers:
    """What the environment does not name: a PostgreSQL, a Redis, or both."""

    def __init__(self) -> None:
        self.missing = [name for name in NAMES if not os.environ.get(name)]
        self._running = contextlib.ExitStack()
        if not self.missing:
            return
        self._places = Places(
            Path(tempfile.mkdtemp(prefix="spanbook-test-")), account_for_servers()
        )
        atexit.register(shutil.rmtree, self._places.data, ignore_errors=True)
        self._postgres = Postgres(self._places, durable=False)
        self._redis = Redis(self._places, durable=False)

    def name(self) -> None:
        """Name them in the environment, for deploy.settings to read."""
        if not self.missing:
            return
        urls = {"DATABASE_URL": self._postgres.url(OWNER), "REDIS_URL": self._redis.url}
        os.environ |= {name: urls[name] for name in self.missing}
        os.environ["SPANBOOK_DATA"] = str(self._places.data)

    def forget(self) -> None:
        """Take the names back, so that a worker started from here names servers of its own."""
        for name in self.missing:
            os.environ.pop(name, None)

    def start(self) -> None:
        """Start them and wait until they answer; ``stop`` ends them, or the end of this process."""
        if not self.missing:
            return
        # Ended from outside, a run still leaves by the door: only so do the handlers run.
        signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
        atexit.register(self.stop)
        self._places.make()
        if "DATABASE_URL" in self.missing:
            self._start_postgres()
        if "REDIS_URL" in self.missing:
            self._running.callback(self._redis.start().stop)
            self._redis.wait()

    def _start_postgres(self) -> None:
        self._running.callback(self._postgres.start().stop)
        self._postgres.wait()
        self._postgres.make_roles()
        host = str(self._places.sockets)
        with psycopg.connect(host=host, user=SUPERUSER, dbname="postgres") as link:
            link.execute(f"ALTER ROLE {OWNER} CREATEDB")

    def stop(self) -> None:
        self._running.close()


servers = Servers()
