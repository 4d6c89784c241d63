"""The servers of one test run: real ones, started fresh and gone at its end.

DATABASE_URL and REDIS_URL, when set, are used instead. What the tests need is then a role that may create databases.
"""

from __future__ import annotations

import atexit
import os
import shutil
import signal
import sys
import tempfile
from pathlib import Path

import psycopg

from deploy.servers import OWNER, SUPERUSER, Places, Postgres, Redis, account_for_servers


def serve_this_run() -> None:
    """Start what the environment does not name, and name it there for deploy.settings to read."""
    if os.environ.get("DATABASE_URL") and os.environ.get("REDIS_URL"):
        return
    places = Places(Path(tempfile.mkdtemp(prefix="spanbook-test-")), account_for_servers())
    places.make()
    os.environ["SPANBOOK_DATA"] = str(places.data)
    # Ended from outside, a run still leaves by the door: only so do the handlers run.
    signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    # Handlers run last come first served: the folder goes after the servers that use it.
    atexit.register(shutil.rmtree, places.data, ignore_errors=True)
    if not os.environ.get("DATABASE_URL"):
        _serve_database(places)
    if not os.environ.get("REDIS_URL"):
        _serve_redis(places)


def _serve_database(places: Places) -> None:
    server = Postgres(places, durable=False)
    atexit.register(server.start().stop)
    server.wait()
    server.make_roles()
    with psycopg.connect(host=str(places.sockets), user=SUPERUSER, dbname="postgres") as link:
        link.execute(f"ALTER ROLE {OWNER} CREATEDB")
    os.environ["DATABASE_URL"] = server.url(OWNER)


def _serve_redis(places: Places) -> None:
    server = Redis(places, durable=False)
    atexit.register(server.start().stop)
    server.wait()
    os.environ["REDIS_URL"] = server.url
