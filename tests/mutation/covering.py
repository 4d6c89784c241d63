"""Which lines each test runs, and how long it takes.

A pytest plugin that writes them to a file, and its reader.

Each test is a context of coverage.py. What ran before the first test ran at import.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

import coverage
import pytest

from tests.mutation.scope import COVERING, DATA, ROOT

PRODUCT = ("plant", "calibration")
FILE = DATA / "covering.json"


class Covering:
    """Lines as the bits of a number, by test and file; the empty test is what runs at import."""

    def __init__(self, content: dict | None = None) -> None:
        content = content or {}
        self.seconds: dict[str, float] = content.get("seconds", {})
        self.lines: dict[str, dict[str, int]] = {
            test: {path: int(bits, 16) for path, bits in files.items()}
            for test, files in content.get("lines", {}).items()
        }
        self.hashes: dict[str, str] = content.get("hashes", {})

    @classmethod
    def read(cls, file: Path = FILE) -> Covering:
        return cls(json.loads(file.read_text()) if file.exists() else None)

    def write(self, path: Path = FILE) -> None:
        lines = {
            test: {name: format(bits, "x") for name, bits in files.items()}
            for test, files in self.lines.items()
        }
        path.parent.mkdir(parents=True, exist_ok=True)
        content = {"seconds": self.seconds, "lines": lines, "hashes": self.hashes}
        path.write_text(json.dumps(content))

    def tests_of(self, path: str, first: int, last: int) -> list[str]:
        """Tests that run a line of a file from first to last."""
        wanted = ((1 << (last - first + 1)) - 1) << first
        return [test for test, files in self.lines.items() if test and files.get(path, 0) & wanted]

    def at_import(self, path: str, first: int, last: int) -> bool:
        return any(
            (self.lines.get("", {}).get(path, 0) >> line) & 1 for line in range(first, last + 1)
        )

    def stale(self) -> set[str]:
        """Test files with tests to run again: changed themselves, or running a changed file."""
        now = hashes()
        changed = {path for path in now | self.hashes if now.get(path) != self.hashes.get(path)}
        touched = {
            file_of(test)
            for test, files in self.lines.items()
            if test and not changed.isdisjoint(files)
        }
        return {path for path in changed if has_tests(path)} | touched

    def renewed(self, newer: Covering, files: set[str]) -> Covering:
        """This, with all tests of some files replaced."""
        for kept in (self.lines, self.seconds):
            for test in [test for test in kept if test and file_of(test) in files]:
                del kept[test]
        self.lines |= newer.lines
        self.seconds |= newer.seconds
        self.hashes = newer.hashes
        return self


def file_of(test: str) -> str:
    return test.split("::", 1)[0]


def has_tests(path: str) -> bool:
    """Whether a file that may be gone has tests, or is of the product and has examples."""
    file = ROOT / path
    return is_test(path) or (
        path.startswith(PRODUCT) and file.exists() and ">>> " in file.read_text(encoding="utf-8")
    )


def is_test(path: str) -> bool:
    return path.startswith("tests/") and Path(path).name.startswith("test_")


def hashes() -> dict[str, str]:
    """The content of each file of the product, and of each file of tests."""
    folders = [*PRODUCT, "tests"]
    paths = [path for folder in folders for path in sorted((ROOT / folder).rglob("*.py"))]
    return {
        path.relative_to(ROOT).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()[:16]
        for path in paths
    }


class Measuring:
    """The plugin: a context for each test, its time, and the tests that fail left out."""

    def __init__(self, into: Path) -> None:
        self.into = into
        self.covering = Covering()
        self.failed: set[str] = set()
        sources = [str(ROOT / folder) for folder in PRODUCT]
        self.coverage = coverage.Coverage(data_file=None, config_file=False, source=sources)
        self.coverage.start()

    @pytest.hookimpl(wrapper=True, tryfirst=True)
    def pytest_runtest_protocol(self, item):
        self.coverage.switch_context(item.nodeid)
        before = time.perf_counter()
        done = yield
        self.covering.seconds[item.nodeid] = round(time.perf_counter() - before, 4)
        return done

    def pytest_runtest_logreport(self, report):
        if not report.passed:
            self.failed.add(report.nodeid)

    def pytest_sessionfinish(self):
        self.coverage.stop()
        data = self.coverage.get_data()
        lines: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for file in data.measured_files():
            path = Path(file).relative_to(ROOT).as_posix()
            for line, contexts in data.contexts_by_lineno(file).items():
                for context in contexts:
                    lines[context][path] |= 1 << line
        self.covering.lines = {test: dict(lines[test]) for test in lines if test not in self.failed}
        self.covering.hashes = hashes()
        self.covering.write(self.into)


def ordered(tests: Iterable[str], path: str, covering: Covering) -> list[str]:
    """Quickest first; before all others, those of files named after the module."""
    stem = Path(path).stem

    def rank(test: str) -> tuple[bool, float]:
        return stem not in Path(file_of(test)).stem, covering.seconds.get(test, 9e9)

    return sorted(tests, key=rank)


if os.environ.get(COVERING):
    _measuring = Measuring(Path(os.environ[COVERING]))

    def pytest_configure(config):
        config.pluginmanager.register(_measuring)
