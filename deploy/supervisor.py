"""Keeps all of Spanbook running: servers, web, worker and beat; what ends is started again."""

from __future__ import annotations

import http.client
import os
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

from deploy import environment as env
from deploy.children import Child
from deploy.places import Places, ServerProblem
from deploy.postgres import APP, OWNER, Postgres
from deploy.redis import Redis

STEADY_AFTER = 30.0
"""Seconds a program must have run for a crash to count as its first again."""

WEB_COMES_UP_WITHIN = 60.0


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


class CannotStart(Exception):
    """Why Spanbook does not start, and what to do."""


class Stopped(Exception):
    pass


@dataclass
class Watched:
    """A program that is started again whenever it ends, ever later while it keeps failing."""

    start: Callable[[], Child]
    child: Child
    since: float
    failures: int = 0
    again_at: float | None = None

    def look(self, now: float) -> None:
        code = self.child.ended()
        if code is None:
            return
        if self.again_at is None:
            self.failures = 1 if now - self.since > STEADY_AFTER else self.failures + 1
            wait = min(10.0, 0.1 * 2**self.failures)
            self.child.sweep()
            self.again_at = now + wait
            say(f"The {self.child.name} ended ({code}); starting it again in {wait:.1f} s.")
        elif now >= self.again_at:
            self.child, self.since, self.again_at = self.start(), now, None


@dataclass
class Supervisor:
    places: Places
    bind: str
    port: int
    stopping: bool = False
    watched: list[Watched] = field(default_factory=list)
    variables: dict[str, str] = field(default_factory=lambda: dict(os.environ))
    owner_url: str = ""
    app_role: str = ""

    def run(self) -> None:
        """Everything from first server to last; returns when asked to stop."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._ask_to_stop)
        try:
            self._serve_data()
            self._prepare()
            self._serve_people()
            while not self.stopping:
                now = time.monotonic()
                for one in self.watched:
                    one.look(now)
                time.sleep(0.2)
        except Stopped:
            pass
        finally:
            self._stop_all()

    def _ask_to_stop(self, *_: object) -> None:
        # Only a mark: waiting for children here would wait inside the wait of the main code.
        self.stopping = True

    def _watch(self, start: Callable[[], Child]) -> Watched:
        if self.stopping:
            raise Stopped
        one = Watched(start, start(), time.monotonic())
        self.watched.append(one)
        return one

    # --- database and Redis -----------------------------------------------------------------

    def _serve_data(self) -> None:
        redis = postgres = None
        if not env.text("REDIS_URL"):
            redis = Redis(self.places)
            self._watch(redis.start)
            self.variables["REDIS_URL"] = redis.url
        if not env.text("DATABASE_URL"):
            postgres = Postgres(self.places)
            self._start_postgres(postgres)
            self.variables["DATABASE_URL"] = postgres.url(APP)
        if redis:
            redis.wait()
        self._find_owner(postgres)

    def _start_postgres(self, postgres: Postgres) -> None:
        one = self._watch(postgres.start)
        give_up = time.monotonic() + 40
        while True:
            try:
                postgres.wait()
            except ServerProblem:
                # The server of a killed supervisor may still be closing down on these files.
                if time.monotonic() > give_up or self.stopping or not postgres.others_pid():
                    raise
                time.sleep(0.2)
                one.child = postgres.start()
            else:
                return postgres.make_roles()

    def _find_owner(self, postgres: Postgres | None) -> None:
        """Two roles: the owner's changes tables, the app's works with rows. With one URL, one role
        does both.
        """
        app = env.database_address("DATABASE_URL", self.variables["DATABASE_URL"])
        if postgres:
            self.owner_url, self.app_role = postgres.url(OWNER), APP
            return
        self.owner_url = env.text("SPANBOOK_OWNER_DATABASE_URL", self.variables["DATABASE_URL"])
        owner = env.database_address("SPANBOOK_OWNER_DATABASE_URL", self.owner_url)
        self.app_role = app.user if app.user != owner.user else ""

    # --- bringing up to date ----------------------------------------------------------------

    def _prepare(self) -> None:
        first = not (self.places.data / "static").exists()
        if first:
            say("Preparing database and pages; the first time takes a little longer ...")
        role = ["--app-role", self.app_role] if self.app_role else []
        self._command("prepare", *role, DATABASE_URL=self.owner_url)
        demo = env.flag("SPANBOOK_DEMO", self.variables.get("SPANBOOK_MODE", "demo") == "demo")
        if demo and self._has("load_demo") and self._nobody_known():
            say("Loading the demo: an edible-oil terminal and soap works with invented people ...")
            self._command("load_demo")

    def _nobody_known(self) -> bool:
        address = self.variables["DATABASE_URL"]
        with psycopg.connect(address) as link:
            (known,) = link.execute("SELECT EXISTS (SELECT FROM plant_person)").fetchone() or (
                True,
            )
        return not known

    def _has(self, command: str) -> bool:
        apps = (env.CHECKOUT / name for name in ("plant", "calibration", "deploy"))
        return any((app / "management" / "commands" / f"{command}.py").exists() for app in apps)

    def _command(self, *words: str, **variables: str) -> None:
        """Run a command of manage.py to its end; a wish to stop ends it."""
        child = self._python(words[0], "manage.py", *words, **variables)
        child.start()
        while child.ended() is None and not self.stopping:
            time.sleep(0.02)
        if self.stopping:
            child.stop()
            raise Stopped
        if child.ended():
            raise CannotStart(f"`manage.py {words[0]}` failed; what it said stands above.")

    # --- web, worker, beat ------------------------------------------------------------------

    def _serve_people(self) -> None:
        # The pages first: three programs loading at once on two cores would keep people waiting for
        # all of them.
        self._wait_for_web(self._watch(self._web))
        celery = ("-m", "celery", "-q", "-A", "deploy.celery:app")
        quiet = ("--without-gossip", "--without-mingle", "--without-heartbeat", "-l", "WARNING")
        self._watch(lambda: self._started("worker", *celery, "worker", *quiet))
        schedule = str(self.places.data / "beat")
        beat = ("beat", "-l", "WARNING", "--pidfile=", "-s", schedule)
        self._watch(lambda: self._started("beat", *celery, *beat))
        say(f"Spanbook is at http://{self.bind}:{self.port}/ . Stop it with Ctrl-C.")
        if self._has("welcome"):
            self._command("welcome")

    def _web(self) -> Child:
        workers = env.whole(
            "SPANBOOK_WEB_WORKERS", max(2, os.cpu_count() or 2), lowest=1, highest=64
        )
        words = ["--bind", f"{self.bind}:{self.port}", "--workers", str(workers)]
        words += ["--timeout", "60", "--graceful-timeout", "10", "--log-level", "warning"]
        words += ["--limit-request-line", "8190"]
        words += ["--preload"]  # loaded once, then shared by the workers
        if Path("/dev/shm").is_dir():  # noqa: S108 - gunicorn's own heartbeat file, in memory
            words += ["--worker-tmp-dir", "/dev/shm"]  # noqa: S108
        return self._started("web", "-m", "gunicorn", "deploy.wsgi", *words)

    def _wait_for_web(self, web: Watched) -> None:
        give_up = time.monotonic() + WEB_COMES_UP_WITHIN
        while not self._web_answers():
            if self.stopping:
                raise Stopped
            if web.child.ended() is not None or time.monotonic() > give_up:
                raise CannotStart("The web server did not come up; what it said stands above.")
            time.sleep(0.05)

    def _web_answers(self) -> bool:
        host = "127.0.0.1" if self.bind in ("0.0.0.0", "localhost") else self.bind  # noqa: S104
        link = http.client.HTTPConnection(host, self.port, timeout=20)
        try:
            # As the proxy would ask: in production all else is sent on to https.
            asks = {"Host": "localhost", "X-Forwarded-Proto": "https"}
            link.request("GET", "/sign-in/", headers=asks)
            return link.getresponse().status == 200
        except OSError:
            return False
        finally:
            link.close()

    # --- children ---------------------------------------------------------------------------

    def _python(self, name: str, *words: str, **variables: str) -> Child:
        command = [sys.executable, *words]
        return Child(name, command, env=self.variables | variables, cwd=env.CHECKOUT)

    def _started(self, name: str, *words: str) -> Child:
        child = self._python(name, *words)
        child.start()
        return child

    def _stop_all(self) -> None:
        """In reverse: first those who use the servers, all at once, then the servers."""
        servers = [one for one in self.watched if one.child.name in ("database", "redis")]
        users = [one for one in self.watched if one not in servers]
        for one in users:
            one.child.ask_to_stop()
        for one in (*users, *reversed(servers)):
            one.child.stop()
