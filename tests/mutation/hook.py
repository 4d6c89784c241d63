"""A mutant of what runs at import, in a process of its own.

A pytest plugin: SPANBOOK_MUTANT names a file with the module, the source with which it is loaded,
the tests, and where the first failure goes.
"""

from __future__ import annotations

import json
import os
import sys
from importlib.abc import MetaPathFinder
from importlib.machinery import SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path

from tests.mutation.scope import MUTANT


class Changed(SourceFileLoader):
    source = ""

    def get_code(self, fullname):
        return compile(self.source, self.path, "exec", dont_inherit=True)


class Hook(MetaPathFinder):
    """Loads one module changed, runs the named tests in order, and notes the first that fails."""

    def __init__(self, asked: dict) -> None:
        self.asked = asked

    def find_spec(self, fullname, path=None, target=None):
        if fullname != self.asked["module"]:
            return None
        loader = Changed(fullname, self.asked["file"])
        loader.source = self.asked["source"]
        return spec_from_file_location(fullname, self.asked["file"], loader=loader)

    def pytest_collection_modifyitems(self, items):
        order = {test: at for at, test in enumerate(self.asked["tests"])}
        chosen = [item for item in items if item.nodeid in order]
        items[:] = sorted(chosen, key=lambda item: order[item.nodeid])

    def pytest_runtest_logreport(self, report):
        if report.failed:
            Path(self.asked["failure"]).write_text(report.nodeid)


if os.environ.get(MUTANT):
    _hook = Hook(json.loads(Path(os.environ[MUTANT]).read_text()))
    sys.meta_path.insert(0, _hook)

    def pytest_configure(config):
        config.pluginmanager.register(_hook)
