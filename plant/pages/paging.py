"""Paging that costs the same on the first page and the last: a page starts beside a row, not after
a count of rows.

An address says where with ``after`` or ``before``: a row's id and the values it was sorted by when
the page was shown, such as ``812~2026-05-12``. The row may have moved since; the next page goes on
where the last one ended all the same.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from django.core.exceptions import ValidationError
from django.db.models import F, Model, QuerySet
from django.db.models.fields.tuple_lookups import Tuple, TupleGreaterThan, TupleLessThan
from django.http import QueryDict

SIZE = 50
COUNTED = 1000
"""How far rows are counted: "more than 1000" tells a person to filter as well as the true number
does.
"""
# As addresses of the list of records named a place before: the day, then the id.
DAY_FIRST = re.compile(r"(?P<day>\d{4}-\d{2}-\d{2})\.(?P<pk>\d+)", re.ASCII)


class NoSuchPlace(ValueError):
    """An address names a place that is none."""


@dataclass(frozen=True)
class Page:
    """One page of a list.

    ids: of its rows, in order. rows: the rows themselves, where they were asked for. before, after:
    the places at which its neighbours begin, "" where there is nothing more that way. total: how
    many rows the list holds, counted up to COUNTED + 1; None where nobody asked. is_misread: the
    address names no place, so that this is the first page instead.
    """

    ids: list[int]
    rows: list[Any]
    before: str
    after: str
    total: int | None
    is_misread: bool
    query: QueryDict

    @property
    def earlier(self) -> str:
        """The query string of the page before, "" where there is none."""
        return _link(self.query, before=self.before) if self.before else ""

    @property
    def later(self) -> str:
        return _link(self.query, after=self.after) if self.after else ""

    @property
    def count(self) -> str:
        return count_text(self.total or 0)


def count_text(total: int) -> str:
    return f"more than {COUNTED}" if total > COUNTED else str(total)


def page_of(
    lists: QuerySet | Sequence[QuerySet],
    keys: Sequence[str],
    *,
    query: QueryDict,
    joined: QuerySet | None = None,
    size: int = SIZE,
    counts: bool = True,
) -> Page:
    """The page that ``query`` asks for; the first where it names no place.

    lists: filtered and lean; of several, such as one a site, each walks its own index.
    keys: what the list is sorted by, all rising or, with a minus, all falling; the id settles ties.
    joined: where the rows of the page, and only they, are then looked up; without it the page has
    only their ids.
    """
    parts = [lists] if isinstance(lists, QuerySet) else list(lists)
    names = [*(key.lstrip("-") for key in keys), "pk"]
    place, is_misread = _place_in(query, parts, names)
    is_backwards = place is not None and not query.get("after")
    is_falling = keys[0].startswith("-") != is_backwards
    cuts = [_cut(part, names, place, is_falling=is_falling)[: size + 1] for part in parts]
    found = _keyed_rows(cuts, names, joined, is_falling=is_falling)
    has_more, keyed = len(found) > size, found[:size]
    if is_backwards:
        keyed.reverse()
    before, after = (has_more, True) if is_backwards else (place is not None, has_more)
    return Page(
        ids=[key[-1] for key, _ in keyed],
        rows=[row for _, row in keyed if row is not None],
        before=_written(keyed[:1], needed=before),
        after=_written(keyed[-1:], needed=after),
        total=_total(parts, keyed, is_whole=not (before or after)) if counts else None,
        is_misread=is_misread,
        query=query,
    )


def _total(parts: Sequence[QuerySet], keyed: Sequence[Any], *, is_whole: bool) -> int:
    """A list that fits its first page has been counted already."""
    return len(keyed) if is_whole else count_of(parts)


def count_of(lists: Iterable[QuerySet]) -> int:
    """How many rows these lists hold, each counted no further than COUNTED + 1."""
    return sum(part.order_by()[: COUNTED + 1].count() for part in lists)


Key = tuple[Any, ...]


def _ordering(names: Sequence[str], *, is_falling: bool) -> list[str]:
    return [f"-{name}" if is_falling else name for name in names]


def _cut(part: QuerySet, names: Sequence[str], place: Key | None, *, is_falling: bool) -> QuerySet:
    """The rows beyond the place, in order."""
    if place is not None:
        beyond = TupleLessThan if is_falling else TupleGreaterThan
        part = part.filter(beyond(Tuple(*map(F, names)), place))
    return part.order_by(*_ordering(names, is_falling=is_falling))


def _keyed_rows(
    cuts: Sequence[QuerySet], names: Sequence[str], joined: QuerySet | None, *, is_falling: bool
) -> list[tuple[Key, Model | None]]:
    """What each row is sorted by, its id last, with the row where it is asked for."""
    if not cuts:
        return []
    order = _ordering(names, is_falling=is_falling)
    if joined is None:
        keys = [cut.values_list(*names) for cut in cuts]
        if len(keys) == 1:
            return [(key, None) for key in keys[0]]
        longest = cuts[0].query.high_mark
        return [
            (key, None) for key in keys[0].union(*keys[1:], all=True).order_by(*order)[:longest]
        ]
    [cut] = cuts
    labels = [f"place_{number}" for number in range(len(names))]
    rows = joined.filter(pk__in=cut.values("pk")).order_by(*order)
    rows = rows.annotate(**dict(zip(labels, map(F, names), strict=True)))
    return [(tuple(getattr(row, label) for label in labels), row) for row in rows]


# ---- places in addresses ----
def _written(end: Sequence[tuple[Key, Any]], *, needed: bool) -> str:
    """The place of the row at an end of the page as an address names it: its id, then what it is
    sorted by; "" where none is needed, or on an empty page.
    """
    if not needed or not end:
        return ""
    *values, pk = end[0][0]
    texts = [str(value).replace("%", "%25").replace("~", "%7E") for value in values]
    return "~".join([str(pk), *texts])


def _place_in(
    query: Mapping[str, str], parts: Sequence[QuerySet], names: Sequence[str]
) -> tuple[Key | None, bool]:
    """The place that the address names, and whether it names one that is none."""
    text = query.get("after") or query.get("before")
    if not text or not parts:
        return None, False
    try:
        return _read(text, parts, names), False
    except NoSuchPlace:
        return None, True


def _read(text: str, parts: Sequence[QuerySet], names: Sequence[str]) -> Key:
    if old := DAY_FIRST.fullmatch(text):
        text = f"{old['pk']}~{old['day']}"
    pk, *texts = text.split("~")
    if "\0" in text or not pk.isascii() or not pk.isdigit() or len(pk) > 18:
        raise NoSuchPlace(text)
    if not texts:
        return _key_of_row(int(pk), parts, names)
    if len(texts) != len(names) - 1:
        raise NoSuchPlace(text)
    fields = [F(name).resolve_expression(parts[0].query.clone()).output_field for name in names]
    try:
        values = zip(fields, map(unquote, texts), strict=False)
        return (*(field.to_python(value) for field, value in values), int(pk))
    except (ValidationError, ValueError) as error:
        raise NoSuchPlace(text) from error


def _key_of_row(pk: int, parts: Sequence[QuerySet], names: Sequence[str]) -> Key:
    """The place of a row that an older address names by its id alone."""
    for part in parts:
        key = part.filter(pk=pk).values_list(*names).first()
        if key is not None:
            return tuple(key)
    raise NoSuchPlace(str(pk))


def _link(query: QueryDict, **place: str) -> str:
    kept = query.copy()
    for name in ("after", "before"):
        kept.pop(name, None)
    for name, value in place.items():
        kept[name] = value
    return f"?{kept.urlencode()}"


def without_place(query: Mapping[str, str] | QueryDict) -> str:
    """The filter and sorting of a list's address, without the page."""
    kept = QueryDict(mutable=True)
    for name, value in query.items():
        if name not in ("after", "before") and value:
            kept[name] = str(value)
    return kept.urlencode()
