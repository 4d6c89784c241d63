"""Paging by place instead of by number: page 2,000 costs what page 1 costs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypedDict

from django.db.models import Q, QuerySet


class NoSuchPlace(ValueError):
    """An address names a place that is none."""


@dataclass(frozen=True)
class Order:
    """Sort by one column, ties by id. ``read`` turns the column's text in an address back into its
    value.
    """

    field: str
    read: Callable[[str], Any]
    descending: bool = False


@dataclass(frozen=True)
class Place:
    """Between two rows of a list: after (or before) the row with this value and id."""

    key: Any
    pk: int

    def __str__(self) -> str:
        return f"{self.pk}~{self.key}"

    @classmethod
    def read(cls, text: str, order: Order) -> Place:
        pk, _, key = text.partition("~")
        try:
            place = cls(order.read(key), int(pk))
        except ValueError as error:
            raise NoSuchPlace(text) from error
        if not 0 <= place.pk < 2**63 or "\0" in text:
            raise NoSuchPlace(text)
        return place


class Where(TypedDict, total=False):
    """What an address may say of a page: the place it begins after, or ends before."""

    after: Place
    before: Place


def where(query: Mapping[str, str], order: Order) -> Where:
    """The place that the address names; raises NoSuchPlace where it is none."""
    if text := query.get("after"):
        return {"after": Place.read(text, order)}
    if text := query.get("before"):
        return {"before": Place.read(text, order)}
    return {}


@dataclass(frozen=True)
class Page:
    """The ids of one page in order, and the places its neighbours begin at (None: there is no such
    page).
    """

    ids: list[int]
    before: Place | None
    after: Place | None


def page_of(
    parts: Sequence[QuerySet],
    order: Order,
    *,
    after: Place | None = None,
    before: Place | None = None,
    size: int = 50,
) -> Page:
    """One page of the rows of ``parts`` together, read as the first ``size`` of each: each part
    walks its own index.
    """
    back = before is not None
    falling = order.descending != back
    rows = _first(parts, order, beyond=before or after, falling=falling, count=size + 1)
    there_is_more = len(rows) > size
    rows = rows[:size]
    if back:
        rows.reverse()
    if not rows:
        return Page([], None, None)
    first, last = (Place(key, pk) for pk, key in (rows[0], rows[-1]))
    return Page(
        [pk for pk, _ in rows],
        before=first if (there_is_more if back else after) else None,
        after=last if (back or there_is_more) else None,
    )


def _first(
    parts: Sequence[QuerySet], order: Order, *, beyond: Place | None, falling: bool, count: int
) -> list[tuple[int, Any]]:
    field = order.field
    by = (f"-{field}", "-id") if falling else (field, "id")
    if beyond:
        word = "lt" if falling else "gt"
        # The first condition alone is what the index can use; the second only trims rows of the
        # same value.
        bound = Q(**{f"{field}__{word}e": beyond.key})
        trim = Q(**{f"{field}__{word}": beyond.key}) | Q(**{f"id__{word}": beyond.pk})
        parts = [part.filter(bound & trim) for part in parts]
    each = [part.order_by(*by).values_list("id", field)[:count] for part in parts]
    if not each:
        return []
    if len(each) == 1:
        return list(each[0])
    return list(each[0].union(*each[1:], all=True).order_by(*by)[:count])


BY_DAY = dt.date.fromisoformat
BY_TEXT = str
