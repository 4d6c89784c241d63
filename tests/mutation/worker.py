"""A worker: a pytest session that has collected all tests and forks for each mutant.

The child puts the mutant under its functions and runs the tests that cover it until one fails. The
database is made once, and copied back from a template after a test that leaves something in it. A
mutant of what runs at import gets a process of its own on the same servers. A failure counts only
when the test passes without the mutant.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest
from _pytest.runner import runtestprotocol
from django.db import connection, connections

from tests.mutation.choice import runs_at_import, tests_for
from tests.mutation.covering import Covering, file_of
from tests.mutation.mutants import Mutant
from tests.mutation.results import Results
from tests.mutation.scope import MUTANT, RESULTS, ROOT, module_name
from tests.mutation.swap import living_functions, swaps

PATIENCE, SLOWER = 15.0, 15.0  # a test may take so many seconds, and so many times its usual time
START = 90.0  # a process of its own needs this long to come to its first test


@dataclass
class Outcome:
    state: str
    test: str = ""
    note: str = ""


def pytest_configure(config):
    config.pluginmanager.register(Worker(), "mutation worker")


class Worker:
    def __init__(self) -> None:
        self.covering = Covering.read()
        self.results = Results(Path(os.environ[RESULTS]))
        self.sound: set[str] = set()  # tests seen to pass without a mutant in a child
        self.unsound: set[str] = set()

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session):
        self.items = {item.nodeid: item for item in session.items}
        self.anchor = next(item for item in session.items if item.nodeid.startswith("plant/"))
        self.database = Database(self._make_database())
        self.living = living_functions()
        while taken := self.results.take():
            self._test(*taken)
        return True

    def _make_database(self) -> str:
        """By one test that uses it; what the session set up stays for the children."""
        first = next(i for i in self.items.values() if "site" in getattr(i, "fixturenames", ()))
        runtestprotocol(first, log=False, nextitem=self.anchor)
        return connection.settings_dict["NAME"]

    def _test(self, number: int, mutant: Mutant) -> None:
        before = time.monotonic()
        tests = [test for test in tests_for(mutant, self.covering) if test in self.items]
        outcome = self._outcome(mutant, tests) if tests else Outcome("no test")
        self.results.end(
            number,
            state=outcome.state,
            test=outcome.test,
            note=outcome.note,
            tests=len(tests),
            seconds=round(time.monotonic() - before, 1),
        )

    def _outcome(self, mutant: Mutant, tests: list[str]) -> Outcome:
        changed = [] if runs_at_import(mutant, self.covering) else swaps(mutant, self.living)
        while True:
            tests = [test for test in tests if test not in self.unsound]
            outcome = self._child(tests, changed) if changed else self._apart(mutant, tests)
            if outcome.state == "survived" or not outcome.test or self._passes(outcome.test):
                return outcome

    def _passes(self, test: str) -> bool:
        if test not in self.sound | self.unsound:
            kept = self.sound if self._child([test], []).state == "survived" else self.unsound
            kept.add(test)
        return test in self.sound

    def _child(self, tests: list[str], changed: list[tuple]) -> Outcome:
        connections.close_all()
        read, write = os.pipe()
        child = os.fork()
        if not child:
            os.close(read)
            _in_child(write, [self.items[test] for test in tests], changed, self.anchor)
        os.close(write)
        outcome, begun = self._watch(child, read, tests)
        os.close(read)
        cut_off = outcome.state == "timeout" or outcome.note
        if cut_off or any(leaves_something(self.items[test]) for test in begun):
            self.database.restore()
        return outcome

    def _watch(self, child: int, read: int, tests: list[str]) -> tuple[Outcome, list[str]]:
        """What the child says, until a test takes too long; and the tests it began."""
        at, outcome = -1, None
        while outcome is None:
            test = tests[max(at, 0)]
            limit = PATIENCE + SLOWER * self.covering.seconds.get(test, 1.0)
            if not select.select([read], [], [], limit)[0]:
                outcome = Outcome("timeout", test)
            elif not (said := os.read(read, 4096)):
                outcome = Outcome("killed", test, "the process ended")
            else:
                at += said.count(b".")
                if b"F" in said:
                    outcome = Outcome("killed", tests[at])
                elif b"D" in said:
                    outcome = Outcome("survived")
        if outcome.state == "timeout":
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return outcome, tests[: at + 1]

    def _apart(self, mutant: Mutant, tests: list[str]) -> Outcome:
        """A process of its own, on the database of this worker."""
        with tempfile.TemporaryDirectory() as folder:
            failure = Path(folder) / "failure"
            asked = Path(folder) / "asked.json"
            content = {
                "module": module_name(mutant.path),
                "file": str(ROOT / mutant.path),
                "source": mutant.code(),
                "tests": tests,
                "failure": str(failure),
            }
            asked.write_text(json.dumps(content))
            outcome = _run_apart(asked, failure, tests, self._limit(tests))
        self.database.restore()
        return outcome

    def _limit(self, tests: list[str]) -> float:
        return START + SLOWER * sum(self.covering.seconds.get(test, 1.0) for test in tests)


def _in_child(write: int, items: list, changed: list[tuple], anchor) -> None:
    """Run the tests and say: ``.`` before each, ``F`` for a failure, ``D`` when all are done."""
    try:
        for function, code in changed:
            function.__code__ = code
        for item, following in zip(items, [*items[1:], anchor], strict=True):
            os.write(write, b".")
            if any(r.failed for r in runtestprotocol(item, log=False, nextitem=following)):
                os.write(write, b"F")
                return
        os.write(write, b"D")
    finally:
        os._exit(0)


def _run_apart(asked: Path, failure: Path, tests: list[str], limit: float) -> Outcome:
    words = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "tests.mutation.plain",
        "-p",
        "tests.mutation.hook",
    ]
    words += ["-p", "no:cacheprovider", "--hypothesis-profile=mutation", "--reuse-db", "-x", "-q"]
    files = sorted({file_of(test) for test in tests})
    environment = os.environ | {MUTANT: str(asked)}
    try:
        done = subprocess.run(
            [*words, *files], cwd=ROOT, env=environment, timeout=limit, capture_output=True,
            text=True, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return Outcome("timeout", tests[0])
    if done.returncode == 0:
        return Outcome("survived")
    if failure.exists():
        return Outcome("killed", failure.read_text())
    return Outcome("killed", "", (done.stdout + done.stderr)[-300:])


def leaves_something(item) -> bool:
    """Whether a test commits, so that its rows, or the want of the first rows, stay."""
    names = set(getattr(item, "fixturenames", ()))
    marker = item.get_closest_marker("django_db")
    return bool(
        names & {"transactional_db", "live_server", "django_db_reset_sequences"}
        or (marker and marker.kwargs.get("transaction"))
    )


class Database:
    """The test database and a copy of it as it was made."""

    def __init__(self, name: str) -> None:
        self.name, self.copy = name, f"{name}_as_made"
        self._run(f'CREATE DATABASE "{self.copy}" TEMPLATE "{self.name}"')

    def restore(self) -> None:
        self._run(
            f'DROP DATABASE IF EXISTS "{self.name}" WITH (FORCE)',
            f'CREATE DATABASE "{self.name}" TEMPLATE "{self.copy}"',
        )

    def _run(self, *statements: str) -> None:
        connections.close_all()
        at = connection.settings_dict
        with psycopg.connect(
            host=at["HOST"], port=at["PORT"] or None, user=at["USER"], password=at["PASSWORD"],
            dbname="postgres", autocommit=True,
        ) as link:  # fmt: skip
            for statement in statements:
                link.execute(statement)
