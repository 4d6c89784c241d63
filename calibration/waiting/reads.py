"""What waits for a person: how many of each kind at each site, and the first of them by name."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from django.db.models import CharField, Count, DateField, F, QuerySet, Value
from django.db.models.functions import Cast

from calibration.waiting.kinds import KINDS, Kind
from calibration.waiting.questions import Asker
from plant.people.models import Person
from plant.sites.models import Site

SHOWN = 3  # of each kind by name
LOOKED_BACK = dt.timedelta(days=7)


class Named(NamedTuple):
    """One thing that waits: what it is called by, its page, its day."""

    label: str
    url: str
    day: dt.date | None


@dataclass(frozen=True)
class Row:
    """One kind. numbers: how many at each site of ``Waits.sites``; None where the person has no
    part in it.
    """

    kind: Kind
    numbers: list[int | None]
    first: list[Named]

    @property
    def total(self) -> int:
        return sum(number or 0 for number in self.numbers)

    @property
    def more(self) -> int:
        """How many there are beyond those named."""
        return max(0, self.total - len(self.first))


@dataclass(frozen=True)
class Waits:
    """All that waits for a person. since: from when an auditor's kinds count, else None."""

    sites: list[Site]
    rows: list[Row]
    since: dt.datetime | None

    @property
    def nothing(self) -> bool:
        return not any(row.total for row in self.rows)


def waits_of(person: Person, *, last_visit: dt.datetime | None, at: dt.datetime) -> Waits:
    """What waits for ``person`` in every role they hold; four queries.

    last_visit: when they signed in before; what happened since counts, and never less than that of
    the last seven days.
    """
    sites = list(Site.objects.filter(pk__in=person.site_ids_as(*KINDS)).order_by("name"))
    since = min(last_visit or at - LOOKED_BACK, at - LOOKED_BACK)
    askers = _askers(person, sites, at=at, since=since)
    asked = [(kind, askers[role]) for role in askers for kind in KINDS[role]]
    counts, first = _counts(asked), _first(asked)
    rows = []
    for n, (kind, asker) in enumerate(asked):
        here = [counts.get((n, s.pk), 0) if s.pk in asker.sites else None for s in sites]
        rows.append(Row(kind, here, first[n]))
    return Waits(sites, rows, since if "auditor" in askers else None)


def _askers(
    person: Person, sites: list[Site], *, at: dt.datetime, since: dt.datetime
) -> dict[str, Asker]:
    """By role held, in the order of KINDS."""
    days = {site.pk: site.day_of(at) for site in sites}
    held = {role: person.site_ids_as(role) for role in KINDS}
    return {role: Asker(person, ids, days, at, since) for role, ids in held.items() if ids}


Asked = list[tuple[Kind, Asker]]


def _counts(asked: Asked) -> dict[tuple[int, int], int]:
    """By place of the kind and site."""
    parts = (
        kind.question(asker)
        .order_by()
        .values(kind_number=Value(n), kind_site=F("site_id"))
        .annotate(kind_rows=Count(kind.pk, distinct=True) if kind.once else Count("*"))
        .values_list("kind_number", "kind_site", "kind_rows")
        for n, (kind, asker) in enumerate(asked)
    )
    return {(place, site): number for place, site, number in _together(parts)}


def _first(asked: Asked) -> dict[int, list[Named]]:
    """The first of each kind, by the kind's place."""
    parts = (
        kind.question(asker)
        .order_by(*kind.order)
        .annotate(
            kind_number=Value(n),
            row_id=F(kind.pk),
            row_label=_text(kind.label),
            row_day=_day(kind.day),
        )
        .values_list("kind_number", "row_id", "row_label", "row_day")[:SHOWN]
        for n, (kind, asker) in enumerate(asked)
    )
    named = defaultdict(list)
    for place, pk, label, day in _together(parts):
        url = asked[place][0].url
        named[place].append(Named(label, url.format(pk), day))
    return named


def _text(path: str) -> Any:
    return Cast(F(path), CharField())


def _day(path: str) -> Any:
    return Cast(F(path) if path else Value(None), DateField())


def _together(parts: Iterable[QuerySet]) -> Iterable[tuple]:
    """All of them in one query."""
    every = list(parts)
    if not every:
        return []
    first, *others = every
    return first.union(*others, all=True) if others else first
