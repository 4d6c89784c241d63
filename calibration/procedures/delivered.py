"""The procedures that come with Spanbook: their texts, and how they compare with what is published
here. Reads only.

What a person edited is theirs: it is never replaced, only shown beside the delivered text.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.version_change import Change, Content, Step, compare

TEXTS = Path(__file__).with_name("delivered.json")
FIRST_REASON = "as delivered; edit it to the site's own rules"
NEXT_REASON = "the delivered text as it now stands"
REASONS = (FIRST_REASON, NEXT_REASON)


@dataclass(frozen=True)
class Delivered:
    """One procedure as it comes with this release; ``principles``: those of transmitters it is
    for.
    """

    key: str
    name: str
    principles: Sequence[str]
    content: Content


@dataclass(frozen=True)
class Difference:
    """A procedure whose newest version is not the delivered text."""

    procedure: Procedure
    latest: ProcedureVersion
    delivered: Delivered
    change: Change

    @property
    def is_edited(self) -> bool:
        """A person published the newest version."""
        return self.latest.reason not in REASONS


@dataclass(frozen=True)
class Comparison:
    """The delivered procedures against those published here."""

    missing: Sequence[Delivered] = field(default=())
    older: Sequence[Difference] = field(default=())
    edited: Sequence[Difference] = field(default=())


@cache
def delivered() -> tuple[Delivered, ...]:
    """All that this release brings, in the order of its file."""
    file = _file()
    return tuple(_read(each, file) for each in file["procedures"])


def _file() -> dict[str, Any]:
    content: dict[str, Any] = json.loads(TEXTS.read_text(encoding="utf-8"))
    return content


def _read(each: dict[str, Any], file: dict[str, Any]) -> Delivered:
    parts = [[part] if isinstance(part, dict) else file["blocks"][part] for part in each["steps"]]
    content = Content(
        way=each["way"],
        shape=each["shape"],
        percents=[Decimal(str(percent)) for percent in each["percents"]],
        up_and_down=each["up_and_down"],
        settle_seconds=each["settle_seconds"],
        adjusts=each["adjusts"],
        covers_output="output" in each["covers"],
        covers_primary="primary element" in each["covers"],
        is_check=each["is_check"],
        stops=[*file["stops"], *each.get("stops", [])],
        steps=[Step(**step) for part in parts for step in part],
    )
    return Delivered(each["key"], each["name"], each["principles"], content)


class Shared(NamedTuple):
    """What all delivered procedures share: what begins them, the restoring that ends them, and when
    to stop.
    """

    before: list[Step]
    after: list[Step]
    stops: list[str]


def shared() -> Shared:
    file = _file()
    *before, after = [[Step(**step) for step in block] for block in file["blocks"].values()]
    return Shared([step for block in before for step in block], after, file["stops"])


def compare_all() -> Comparison:
    """Which are missing here, which are here in an older text, and which a person edited."""
    here = {p.key: p for p in Procedure.objects.prefetch_related("versions__steps")}
    missing = [each for each in delivered() if each.key not in here]
    pairs = [difference_from_delivered(here[each.key]) for each in delivered() if each.key in here]
    differing = [row for row in pairs if row]
    return Comparison(
        missing,
        older=[row for row in differing if not row.is_edited],
        edited=[row for row in differing if row.is_edited],
    )


def difference_from_delivered(procedure: Procedure) -> Difference | None:
    """What the delivered text would change; None where it is the same, or Spanbook delivers none
    under its key.
    """
    text = next((each for each in delivered() if each.key == procedure.key), None)
    latest = next((version for version in procedure.versions.all()), None)
    if text is None or latest is None:
        return None
    change = compare(latest.content, text.content)
    return Difference(procedure, latest, text, change) if change else None
