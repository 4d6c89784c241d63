"""Columns of values into a table of the database by COPY: the fast way in, for staged rows and for
new ones.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

from django.db import connection, models


@contextmanager
def unprepared() -> Iterator[None]:
    """No prepared statements meanwhile: one made for a temporary table fails when the next import
    makes its own.
    """
    connection.ensure_connection()
    link = connection.connection
    usual, link.prepare_threshold = link.prepare_threshold, None
    try:
        yield
    finally:
        link.prepare_threshold = usual


_SPECIAL = re.compile(r"[\\\t\n\r]")
_ESCAPES = str.maketrans({"\\": r"\\", "\t": r"\t", "\n": r"\n", "\r": r"\r"})


def stage(table: str, types: Mapping[str, str], columns: Mapping[str, Sequence[Any]]) -> None:
    """Fill a temporary table of this transaction. ``types``: all its columns; those not in
    ``columns`` stay empty.
    """
    body = ", ".join(f"{name} {kind}" for name, kind in types.items())
    with connection.cursor() as cursor:
        # Sorting and joining a whole register in memory; only for this transaction.
        cursor.execute("SET LOCAL work_mem = '64MB'")
        cursor.execute(f"DROP TABLE IF EXISTS pg_temp.{table}")
        cursor.execute(f"CREATE TEMPORARY TABLE {table} ({body}) ON COMMIT DROP")
    copy_into(table, {name: columns[name] for name in types if name in columns})


def copy_into(table: str, columns: Mapping[str, Sequence[Any]]) -> None:
    """Append rows given by column: text, numbers, days, times, true or false, lists of floats,
    None.
    """
    if not columns or not len(next(iter(columns.values()))):
        return
    lines = map("\t".join, zip(*map(_texts, columns.values()), strict=True))
    names = ", ".join(columns)
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy,
    ):
        copy.write("\n".join(lines) + "\n")


def copy_models(rows: Sequence[models.Model]) -> None:
    """Append rows of one model, whose ids are set (see next_ids)."""
    if not rows:
        return
    meta = rows[0]._meta
    fields = [field for field in meta.concrete_fields if not getattr(field, "generated", False)]
    copy_into(
        meta.db_table,
        {f'"{f.column}"': [_copied(f, getattr(row, f.attname)) for row in rows] for f in fields},
    )


def _copied(field: Any, value: Any) -> Any:
    return json.dumps(value) if isinstance(field, models.JSONField) and value is not None else value


def number(rows: Sequence[models.Model]) -> None:
    """Give new rows of one model the ids that the database would give them."""
    if rows:
        for row, pk in zip(rows, next_ids(rows[0]._meta.db_table, len(rows)), strict=True):
            row.pk = pk


def next_ids(table: str, count: int) -> list[int]:
    """``count`` numbers of the table's own sequence."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval((SELECT pg_get_serial_sequence(%s, 'id')::regclass)) FROM "
            "generate_series(1, %s)",
            [table, count],
        )
        return [number for (number,) in cursor.fetchall()]


def _texts(values: Sequence[Any]) -> Iterable[str]:
    """COPY's text for each value. Parsing lets equal cells share one value, so that each is written
    once, by identity.
    """
    if isinstance(values, range):
        return map(str, values)
    places = list(map(id, values))
    known = {place: _text(value) for place, value in dict(zip(places, values, strict=True)).items()}
    return map(known.__getitem__, places)


def _text(value: Any) -> str:
    if isinstance(value, str):
        return value.translate(_ESCAPES) if _SPECIAL.search(value) else value
    if value is None:
        return r"\N"
    if isinstance(value, bool):
        return "t" if value else "f"
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, list):
        return "{" + ",".join(map(repr, value)) + "}"
    return str(value)
