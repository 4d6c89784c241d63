"""What every kind of file shares: its layout, how its rows are checked against the register, and
how they are written.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from plant.importing.columns import Layout, Parsed
from plant.people.models import Person
from plant.sites.models import Site

SHOWN = 20
"""As many of the rows that would come in or change are shown before anybody decides."""


@dataclass(frozen=True)
class Change:
    """One row of the file as it would alter the register.

    ``what`` maps a heading to [was, will be].
    """

    row: int
    name: str
    is_new: bool
    what: dict[str, list[str]]

    def as_json(self) -> dict[str, Any]:
        what = [[name, was, now] for name, (was, now) in self.what.items() if was or now]
        return {"row": self.row, "name": self.name, "new": self.is_new, "what": what}


@dataclass
class Outcome:
    """How the rows of a file compare with the register. ``plan`` is for the writer of the same
    kind alone.
    """

    new: int = 0
    changed: int = 0
    same: int = 0
    shown: list[Change] = field(default_factory=list)
    plan: Any = None

    def count(self, change: Change | None) -> None:
        """Count one row: None where it changes nothing."""
        if change is None:
            self.same += 1
            return
        if change.is_new:
            self.new += 1
        else:
            self.changed += 1
        if len(self.shown) < SHOWN:
            self.shown.append(change)


@dataclass(frozen=True)
class Context:
    """For which site, on which of its days, and by whom."""

    site: Site
    today: dt.date
    at: dt.datetime
    by: Person | None = None
    writes: bool = False
    """The rows are written right after this check, in the same transaction."""


@dataclass(frozen=True)
class Importer:
    """``check`` adds to parsed.problems what speaks against a row, and returns what would
    change.

    ``write`` stores what ``check`` has just found, in the same transaction.
    """

    layout: Layout
    check: Callable[[Parsed, Context], Outcome]
    write: Callable[[Parsed, Outcome, Context], None]
