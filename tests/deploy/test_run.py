"""The one command: it comes up, is there once, heals itself, and leaves nothing behind, however it
ends.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from deploy.environment import CHECKOUT, socket_folder
from deploy.postgres import APP, DATABASE

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/environ").exists(), reason="finds processes by /proc, so only on Linux"
)
TEST_VARIABLES = ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE", "SPANBOOK_DATA")


class Site:
    """One installation in a folder of its own, started and ended like a person would."""

    def __init__(self, data: Path) -> None:
        self.data, self.port = data, free_port()
        self.supervisor: subprocess.Popen[str] | None = None

    def command(self, **variables: str) -> subprocess.Popen[str]:
        inherited = {key: value for key, value in os.environ.items() if key not in TEST_VARIABLES}
        ours = {"SPANBOOK_DATA": str(self.data), "PORT": str(self.port), "SPANBOOK_DEMO": "no"}
        return subprocess.Popen(
            [sys.executable, "-m", "deploy.run"],
            cwd=CHECKOUT,
            env=inherited | ours | variables,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )

    def start(self) -> None:
        self.supervisor = self.command()
        if not within(180, self.answers):
            self.supervisor.kill()
            pytest.fail(f"did not come up:\n{self.supervisor.communicate()[0]}")

    def end(self, number: signal.Signals) -> tuple[int, str]:
        """Exit code and all it printed; returns once its pipe is closed by every process."""
        assert self.supervisor is not None
        self.supervisor.send_signal(number)
        said, _ = self.supervisor.communicate(timeout=60)
        code, self.supervisor = self.supervisor.returncode, None
        return code, said

    def answers(self) -> bool:
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        with contextlib.closing(link), contextlib.suppress(OSError, http.client.HTTPException):
            link.request("GET", "/sign-in/")
            return link.getresponse().status == 200
        return False

    def well(self) -> bool:
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        with contextlib.closing(link), contextlib.suppress(OSError, http.client.HTTPException):
            link.request("GET", "/health/")
            return link.getresponse().status == 200
        return False

    def processes(self, having: str = "") -> list[int]:
        """Every living process of this installation whose command has ``having``.

        Told by its environment, or by its command, since Redis writes over the former.
        """
        mark = f"SPANBOOK_DATA={self.data}".encode()
        found = []
        for entry in Path("/proc").glob("[0-9]*"):
            with contextlib.suppress(OSError):
                command = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
                ours = mark in (entry / "environ").read_bytes() or f"{self.data}/" in command
                found += [int(entry.name)] if ours and having in command else []
        return sorted(found)

    def nothing_left(self) -> bool:
        return not self.processes()

    def database(self) -> psycopg.Connection:
        return psycopg.connect(
            host=str(socket_folder(self.data)), user=APP, dbname=DATABASE, autocommit=True
        )


def within(seconds: float, true: Callable[[], bool]) -> bool:
    give_up = time.monotonic() + seconds
    while time.monotonic() < give_up:
        if true():
            return True
        time.sleep(0.1)
    return true()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    data = Path(tempfile.mkdtemp(prefix="spanbook-run-"))
    one = Site(data)
    try:
        one.start()
        yield one
    finally:
        if one.supervisor:
            one.supervisor.terminate()
            one.supervisor.communicate(timeout=60)
        shutil.rmtree(data)


@pytest.fixture
def running(site: Site) -> Site:
    if site.supervisor is None:
        site.start()
    return site


def test_health_is_well_soon_after_the_start(running):
    assert within(60, running.well)


def test_a_second_start_on_the_same_data_says_so_and_leaves_the_first_alone(running):
    # Not the database's own processes: its sessions and cleaners come and go.
    programs = ("deploy.run", "gunicorn", "celery", "redis")
    before = [running.processes(having=program) for program in programs]
    second = running.command(PORT=str(free_port()))
    said, _ = second.communicate(timeout=60)
    assert second.returncode == 1
    assert f"already runs on {running.data} (process {running.supervisor.pid})" in said
    assert [running.processes(having=program) for program in programs] == before
    assert running.answers()


def test_a_busy_port_is_named(running):
    with tempfile.TemporaryDirectory() as other:
        second = running.command(SPANBOOK_DATA=other)
        said, _ = second.communicate(timeout=60)
    assert second.returncode == 1
    assert f"Port {running.port} on 127.0.0.1 cannot be used" in said


def test_an_upload_over_the_limit_gets_its_page_over_a_real_connection(running):
    link = http.client.HTTPConnection("127.0.0.1", running.port, timeout=60)
    with contextlib.closing(link):
        link.request("POST", "/sign-in/", body=bytes(200 * 1024 * 1024))
        answer = link.getresponse()
        assert answer.status == 413
        assert "up to 50 MB are accepted" in answer.read().decode()


@pytest.mark.parametrize(
    "name", ["gunicorn deploy.wsgi", "bin/postgres -D", "redis-server", " beat "]
)
def test_whatever_is_killed_comes_back(running, name):
    assert within(60, running.well)
    killed = running.processes(having=name)
    os.kill(killed[0], signal.SIGKILL)
    assert within(30, lambda: running.answers() and running.well())
    assert within(30, lambda: bool(set(running.processes(having=name)) - set(killed)))


def test_what_was_committed_outlives_a_killed_supervisor_and_no_process_does(running):
    with running.database() as link:
        link.execute("INSERT INTO django_session VALUES ('kept', 'data', now())")
    code, _ = running.end(signal.SIGKILL)
    assert code == -signal.SIGKILL
    assert within(30, running.nothing_left)

    running.start()
    with running.database() as link:
        kept = link.execute("SELECT session_data FROM django_session WHERE session_key = 'kept'")
        assert kept.fetchall() == [("data",)]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_stop_takes_all_down_and_counts_as_success(running, number):
    code, said = running.end(number)
    assert code == 0
    assert said.endswith("Spanbook has stopped.\n")
    assert running.nothing_left()
