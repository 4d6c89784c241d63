"""Rows of a kind of which a site has few, such as tanks: each compared with its model's row, then
written in bulk.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import Model

from plant.importing.columns import Parsed
from plant.importing.importer import Change, Outcome


@dataclass
class Plan:
    """What is to be written: rows to come in and rows to change, with the place of each in the
    file.
    """

    new: list[Any] = field(default_factory=list)
    changed: list[Any] = field(default_factory=list)
    places: dict[int, int] = field(default_factory=dict)  # id() of a row to its place

    def place_of(self, row: Model) -> int:
        return self.places[id(row)]


def compare(
    parsed: Parsed,
    fields: Sequence[str],
    *,
    stored: Mapping[Any, Model],
    fresh: Callable[[int], Model],
    more: Callable[[Any, int], dict[str, list[str]]] = lambda row, place: {},
) -> Outcome:
    """Put what each row of the file gives onto the stored row of its key, or onto a fresh one.

    ``stored`` is keyed as the layout names a row. ``more`` sets what no plain column does and
    returns how it differs.
    """
    plan = Plan()
    outcome = Outcome(plan=plan)
    for place, key in enumerate(keys(parsed)):
        row = stored.get(key)
        is_new = row is None
        row = fresh(place) if row is None else row
        what = put(parsed, place, row, fields) | more(row, place)
        if not (is_new or what):
            outcome.count(None)
            continue
        plan.places[id(row)] = place
        (plan.new if is_new else plan.changed).append(row)
        outcome.count(Change(parsed.rows[place], str(key[-1]), is_new, what))
    return outcome


def keys(parsed: Parsed) -> Iterator[tuple]:
    return zip(*(parsed.column(name) for name in parsed.layout.key), strict=True)


def put(parsed: Parsed, place: int, row: Model, fields: Sequence[str]) -> dict[str, list[str]]:
    """Set the fields that the file gives; returns heading to [was, will be] where they differ."""
    what = {}
    for name in fields:
        value = parsed.column(name)[place]
        was = getattr(row, name)
        if value is None or value == was:
            continue
        setattr(row, name, value)
        what[parsed.layout.of(name).name] = [value_text(was) if row.pk else "", value_text(value)]
    return what


def value_text(value: Any) -> str:
    """A value as the preview and the ledger show it.

    >>> value_text(Decimal("3.050")), value_text(None), value_text(True)
    ('3.05', '', 'yes')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        text = format(value, "f")
        return text.rstrip("0").rstrip(".") if "." in text else text
    return str(value)
