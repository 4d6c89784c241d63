"""Changes a line of the product and sees whether a test notices.

``python -m tests.mutation --seed 1 --sample 600``: nothing in the checkout is changed. The same
words take up a run that was stopped; ``--again`` tests its survivors once more.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.mutation.covering import FILE, Covering, file_of
from tests.mutation.mutants import sample
from tests.mutation.results import Results
from tests.mutation.scope import COVERING, DATA, RESULTS, ROOT, TESTS
from tests.mutation.summary import summary

PYTEST = [sys.executable, "-m", "pytest", "-p", "tests.mutation.plain", "-p", "no:cacheprovider",
          "--hypothesis-profile=mutation", "-q", "-m", "not browser"]  # fmt: skip


def main(words: list[str]) -> int:
    asked = arguments(words)
    file = DATA / f"seed-{asked.seed}-sample-{asked.sample}.sqlite"
    results = Results(file)
    if not asked.show:
        cover()
        results.keep_only(sample(asked.sample, asked.seed))
        results.release(("survived", "no test") if asked.again else ())
        work(file, asked.workers)
    sys.stdout.write(summary(results.all()) + "\n")
    return 0


def arguments(words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="which sample")
    parser.add_argument("--sample", type=int, default=600, help="how many mutants")
    parser.add_argument("--workers", type=int, default=2, help="processes with a database each")
    parser.add_argument("--again", action="store_true", help="test survivors again")
    parser.add_argument("--show", action="store_true", help="only show what is known")
    return parser.parse_args(words)


def cover() -> None:
    """Bring the file of covered lines up to date.

    Test files that changed, or run what changed, run once.
    """
    known = Covering.read()
    files = known.stale()
    if FILE.exists() and not files:
        return
    paths = sorted(path for path in files if (ROOT / path).exists()) if FILE.exists() else TESTS
    with tempfile.TemporaryDirectory() as folder:
        into = Path(folder) / "covering.json"
        command = [*PYTEST, "-p", "tests.mutation.covering", *paths]
        subprocess.run(command, cwd=ROOT, env=os.environ | {COVERING: str(into)}, check=False)
        newer = Covering.read(into)
    known.renewed(newer, files or {file_of(test) for test in known.seconds}).write()


def work(file: Path, workers: int) -> None:
    command = [*PYTEST, "-p", "tests.mutation.worker", *TESTS]
    environment = os.environ | {RESULTS: str(file)}
    logs = [DATA / f"worker-{number}.log" for number in range(1, workers + 1)]
    running = [
        subprocess.Popen(command, cwd=ROOT, env=environment, stdout=log.open("w")) for log in logs
    ]
    for process, log in zip(running, logs, strict=True):
        if process.wait():
            sys.exit(f"A worker stopped before its work was done: see {log}.")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
