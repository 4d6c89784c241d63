"""Paging that costs the same on the first page and the last: a page starts beside a row, not after
a count of rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import F, QuerySet
from django.db.models.fields.tuple_lookups import Tuple, TupleGreaterThan, TupleLessThan
from django.http import QueryDict

SIZE = 50
COUNTED = 1000
"""How far rows are counted: "more than 1000" tells a person to filter as well as the true number
does.
"""


@dataclass(frozen=True)
class Page:
    """``earlier`` and ``later`` are query strings, "" where there is nothing more that way."""

    rows: list[Any]
    earlier: str
    later: str
    found: int

    @property
    def count(self) -> str:
        return f"more than {COUNTED}" if self.found > COUNTED else str(self.found)


def page_of(
    rows: QuerySet,
    keys: Sequence[str],
    *,
    query: QueryDict,
    joined: QuerySet,
    everything: QuerySet,
    size: int = SIZE,
) -> Page:
    """The page that ``query`` asks for with ``after`` or ``before`` (a row's id); else the first.

    rows: filtered and lean; the page is cut from it first, and only its rows are then looked up in
    ``joined``.
    keys: what the list is sorted by, all rising or, with a minus, all falling; the id settles ties.
    everything: unfiltered, where the row to start beside is looked up in case the filter has lost
    it meanwhile.
    """
    names = [key.lstrip("-") for key in keys] + ["pk"]
    start = _key_of(everything, names, query.get("before") or query.get("after"))
    backwards = start is not None and "before" in query
    falling = keys[0].startswith("-") != backwards
    order = [f"-{name}" if falling else name for name in names]
    cut = rows.order_by(*order)
    if start is not None:
        beyond = TupleLessThan if falling else TupleGreaterThan
        cut = cut.filter(beyond(Tuple(*map(F, names)), start))
    found = list(joined.filter(pk__in=cut.values("pk")[: size + 1]).order_by(*order))
    more = len(found) > size
    found = found[:size]
    if backwards:
        found.reverse()
    has_earlier = more if backwards else start is not None
    has_later = bool(found) if backwards else more
    return Page(
        rows=found,
        earlier=_link(query, before=found[0].pk) if has_earlier and found else "",
        later=_link(query, after=found[-1].pk) if has_later and found else "",
        # A list that fits its first page has been counted already.
        found=rows.order_by()[: COUNTED + 1].count() if more or start is not None else len(found),
    )


def _key_of(rows: QuerySet, names: Sequence[str], pk: str | None) -> tuple[Any, ...] | None:
    if not pk or not pk.isascii() or not pk.isdigit() or len(pk) > 18:
        return None
    return rows.filter(pk=int(pk)).values_list(*names).first()


def _link(query: QueryDict, **place: int) -> str:
    kept = query.copy()
    for name in ("after", "before"):
        kept.pop(name, None)
    for name, value in place.items():
        kept[name] = str(value)
    return f"?{kept.urlencode()}"


def without_place(query: Mapping[str, str] | QueryDict) -> str:
    """The filter and sorting of a list's address, without the page."""
    kept = QueryDict(mutable=True)
    for name, value in query.items():
        if name not in ("after", "before") and value:
            kept[name] = str(value)
    return kept.urlencode()
