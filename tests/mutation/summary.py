"""The text of a run: a table of modules, the share killed, each survivor with its change."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable

from tests.mutation.results import STATES

KILLED = ("killed", "timeout")


def summary(rows: list[sqlite3.Row]) -> str:
    done = [row for row in rows if row["state"]]
    parts = [_table(done, "path"), _table(done, "family"), _survivors(done)]
    return "\n\n".join([*parts, f"{len(done)} of {len(rows)} mutants tested. {share(done)}"])


def share(rows: Iterable[sqlite3.Row]) -> str:
    states = Counter(row["state"] for row in rows)
    total, killed = sum(states.values()), sum(states[state] for state in KILLED)
    return f"{killed} of {total} killed, {100 * killed / total:.1f} %" if total else "none tested"


def _table(rows: list[sqlite3.Row], column: str) -> str:
    names = sorted({row[column] for row in rows})
    lines = [f"{'':50}" + "".join(f"{state:>10}" for state in STATES)]
    for name in names:
        states = Counter(row["state"] for row in rows if row[column] == name)
        lines.append(f"{name:50}" + "".join(f"{states[state]:10}" for state in STATES))
    return "\n".join(lines)


def _survivors(rows: list[sqlite3.Row]) -> str:
    return "\n\n".join(
        f"{row['path']}:{row['line']} {row['operator']} {row['state']}, {row['tests']} tests"
        f"\n{row['diff']}"
        for row in rows
        if row["state"] not in KILLED
    )
