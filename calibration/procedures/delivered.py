"""The procedures that come with Spanbook: taken into the book, and followed when a newer release
words them anew.

What a person edited is theirs: it is never replaced, only shown beside the delivered text.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from django.db import transaction

from calibration.procedures.acts import content_of, publish, site_of
from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.version_change import Change, Content, Step, compare
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.refusals import Refused

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
class Differing:
    """A procedure of the book whose newest version is not the delivered text."""

    procedure: Procedure
    latest: ProcedureVersion
    change: Change

    @property
    def is_edited(self) -> bool:
        """A person published the newest version."""
        return self.latest.reason not in REASONS


@dataclass(frozen=True)
class Standing:
    """The delivered procedures against the book."""

    missing: Sequence[Delivered] = field(default=())
    older: Sequence[Differing] = field(default=())
    edited: Sequence[Differing] = field(default=())


@cache
def delivered() -> tuple[Delivered, ...]:
    """All that this release brings, in the order of its file."""
    told: dict[str, Any] = json.loads(TEXTS.read_text(encoding="utf-8"))
    return tuple(_read(each, told) for each in told["procedures"])


def _read(each: dict[str, Any], told: dict[str, Any]) -> Delivered:
    parts = [[part] if isinstance(part, dict) else told["blocks"][part] for part in each["steps"]]
    content = Content(
        way=each["way"],
        shape=each["shape"],
        percents=[Decimal(str(percent)) for percent in each["percents"]],
        up_and_down=each["up_and_down"],
        settle_seconds=each["settle_seconds"],
        adjusts=each["adjusts"],
        stops=[*told["stops"], *each.get("stops", [])],
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
    told: dict[str, Any] = json.loads(TEXTS.read_text(encoding="utf-8"))
    *before, after = [[Step(**step) for step in block] for block in told["blocks"].values()]
    return Shared([step for block in before for step in block], after, told["stops"])


def standing() -> Standing:
    """Which are missing in the book, which the book has in an older text, and which a person
    edited.
    """
    book = {p.key: p for p in Procedure.objects.prefetch_related("versions__steps")}
    missing = [each for each in delivered() if each.key not in book]
    differing = [
        row for each in delivered() if each.key in book and (row := differing_from(book[each.key]))
    ]
    return Standing(
        missing,
        older=[row for row in differing if not row.is_edited],
        edited=[row for row in differing if row.is_edited],
    )


def differing_from(procedure: Procedure) -> Differing | None:
    """What the delivered text would change; None where it is the same, or Spanbook delivers none
    under its key.
    """
    text = next((each for each in delivered() if each.key == procedure.key), None)
    latest = next((version for version in procedure.versions.all()), None)
    if text is None or latest is None:
        return None
    change = compare(content_of(latest), text.content)
    return Differing(procedure, latest, change) if change else None


@transaction.atomic
def take_in(*, by: Person, on: dt.date) -> list[Procedure]:
    """Publish those that are missing, each as its version 1. Refused where none is."""
    site = site_of(by)
    new = _publish_missing(on)
    if not new:
        raise Refused(
            "Every delivered procedure is in the book already; there is nothing to take in."
        )
    enter(
        "take in delivered procedures",
        on=site,
        by=by,
        details={"procedures": [procedure.key for procedure in new]},
    )
    return new


@transaction.atomic
def renew(procedure: Procedure, *, based_on: int, by: Person, on: dt.date) -> ProcedureVersion:
    """Publish the delivered text as the next version. Refused where a person edited it, or it is
    the same already.
    """
    site = site_of(by)
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    row = differing_from(procedure)
    if row is None:
        raise Refused(f"{procedure} already says what is delivered; there is nothing to publish.")
    if row.is_edited:
        raise Refused(
            f"Version {row.latest.number} of {procedure} was written at this plant, and it stays. "
            "Take over by "
            "hand what you want of the delivered text: open “Change it” beside the difference."
        )
    if row.latest.number != based_on:
        raise Refused(
            f"Version {row.latest.number} of {procedure} is published meanwhile; look at the "
            "difference again."
        )
    text = next(each for each in delivered() if each.key == procedure.key)
    version = publish(procedure, text.content, reason=NEXT_REASON, on=on)
    enter(
        "publish procedure",
        on=procedure,
        by=by,
        why=NEXT_REASON,
        site=site,
        details={
            "version": version.number,
            "steps": len(text.content.steps),
            "changed": str(row.change),
        },
    )
    return version


def load_seeds(*, on: dt.date) -> int:
    """Publish what is missing when a demo plant or a test is made, by nobody; returns how many."""
    return len(_publish_missing(on))


def _publish_missing(on: dt.date) -> list[Procedure]:
    known = set(Procedure.objects.values_list("key", flat=True))
    new = []
    with transaction.atomic():
        for each in delivered():
            if each.key in known:
                continue
            facts = {"name": each.name, "principles": list(each.principles)}
            # Of two at once, the second waits here for the first and leaves its rows alone.
            procedure, is_new = Procedure.objects.get_or_create(key=each.key, defaults=facts)
            if is_new:
                publish(procedure, each.content, reason=FIRST_REASON, on=on)
                new.append(procedure)
    return new
