"""The mutants of a run and what became of each, in a file that a later start takes up again."""

from __future__ import annotations

import sqlite3
from dataclasses import asdict, fields
from pathlib import Path

from tests.mutation.mutants import Mutant

STATES = ("killed", "timeout", "survived", "no test")
TABLE = """
CREATE TABLE IF NOT EXISTS mutants (
    id INTEGER PRIMARY KEY, family TEXT, path TEXT, operator TEXT, occurrence INTEGER, line INTEGER,
    first INTEGER, last INTEGER, function TEXT, defined TEXT, diff TEXT,
    taken INTEGER DEFAULT 0, state TEXT, test TEXT, tests INTEGER, seconds REAL, note TEXT,
    UNIQUE (path, operator, occurrence, diff)
)
"""


class Results:
    def __init__(self, file: Path) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        self.link = sqlite3.connect(file, timeout=60, isolation_level=None)
        self.link.row_factory = sqlite3.Row
        self.link.execute("PRAGMA journal_mode = WAL")  # who reads does not hold up a worker
        self.link.execute(TABLE)

    def keep_only(self, sample: list[tuple[str, Mutant]]) -> None:
        """Hold the sample, with what is known of it, and no other mutant."""
        old = {row["id"] for row in self.all()}
        self.link.execute("BEGIN")
        for family, mutant in sample:
            row = asdict(mutant) | {
                "family": family,
                "defined": " ".join(mutant.defined),
                "diff": mutant.diff(),
            }
            old.discard(self._entered(row))
        self.link.executemany("DELETE FROM mutants WHERE id = ?", [(row,) for row in old])
        self.link.execute("COMMIT")

    def _entered(self, row: dict) -> int:
        """Its number; where its lines moved since, the new ones are entered."""
        names, marks = ", ".join(row), ", ".join(f":{name}" for name in row)
        moved = ", ".join(f"{name} = :{name}" for name in row)
        return self.link.execute(
            f"INSERT INTO mutants ({names}) VALUES ({marks}) "  # noqa: S608 - names of our own
            f"ON CONFLICT (path, operator, occurrence, diff) DO UPDATE SET {moved} RETURNING id",
            row,
        ).fetchone()[0]

    def release(self, states: tuple[str, ...] = ()) -> None:
        """What was begun and not ended, and what ended in one of these states, is to do again."""
        self.link.execute("UPDATE mutants SET taken = 0 WHERE state IS NULL")
        marks = ", ".join("?" for _ in states)
        self.link.execute(
            f"UPDATE mutants SET taken = 0, state = NULL WHERE state IN ({marks})",  # noqa: S608
            states,
        )

    def take(self) -> tuple[int, Mutant] | None:
        """The next mutant to test, that no other worker has."""
        row = self.link.execute(
            "UPDATE mutants SET taken = 1 WHERE id = "
            "(SELECT id FROM mutants WHERE taken = 0 AND state IS NULL ORDER BY random() LIMIT 1) "
            "RETURNING *"
        ).fetchone()
        return None if row is None else (row["id"], mutant_in(row))

    def end(self, number: int, **became) -> None:
        parts = ", ".join(f"{name} = :{name}" for name in became)
        self.link.execute(
            f"UPDATE mutants SET {parts} WHERE id = :id",  # noqa: S608 - names of our own
            became | {"id": number},
        )

    def all(self) -> list[sqlite3.Row]:
        return self.link.execute("SELECT * FROM mutants ORDER BY path, line, id").fetchall()


def mutant_in(row: sqlite3.Row) -> Mutant:
    parts = {field.name: row[field.name] for field in fields(Mutant)}
    return Mutant(**parts | {"defined": tuple(parts["defined"].split())})
