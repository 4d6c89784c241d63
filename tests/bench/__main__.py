"""Benchmarks: the product beside a floor measured in the same run. ``python -m tests.bench [g1 g2
…] [rows]``.

Runs on a database of its own, on the servers of tests/servers.py, and prints one table of ratios.
"""

from __future__ import annotations

import importlib
import os
import sys
from pathlib import Path

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.test.runner import DiscoverRunner  # noqa: E402 - settings come first

HEAD = ("goal", "what", "rows", "floor, ms", "product, ms", "ratio", "quartiles", "at most", "")


def main(words: list[str]) -> int:
    scale = next((int(word) for word in words if word.isdigit()), None)
    wanted = [word for word in words if not word.isdigit()]
    files = sorted(Path(__file__).parent.glob("g*.py"))
    names = [f.stem for f in files if not wanted or any(f.stem.startswith(w) for w in wanted)]
    if not names:
        sys.stderr.write(f"no benchmark is named so; there are {[f.stem for f in files]}\n")
        return 2
    runner = DiscoverRunner(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    missed = 0
    try:
        lines = [HEAD]
        for name in names:
            for row in importlib.import_module(f"tests.bench.{name}").run(scale):
                lines.append(row.cells())
                missed += not row.reached
    finally:
        runner.teardown_databases(databases)
    widths = [max(len(line[i]) for line in lines) for i in range(len(HEAD))]
    for line in lines:
        sys.stdout.write(
            "  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() + "\n"
        )
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
