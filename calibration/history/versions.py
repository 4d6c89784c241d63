"""Former versions of rows, what changed in which transaction, who did it and why.

Two times are kept apart. When something was true (a transmitter was installed from March) stands in
the rows; when it was entered stands in ``entered_at`` and in the row history that the database's
triggers keep.
"""

from __future__ import annotations

import datetime as dt
import json
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from django.apps import apps
from django.db import connection, models
from psycopg import sql

from plant.ledger.models import LedgerEntry, RowHistory
from plant.quantities import day_text

DATABASE_OWN = {"id", "entered_at", "entered_in"}


@dataclass(frozen=True)
class Version:
    """What one row held from one change to the next. ``until`` None: it is the present one."""

    values: dict[str, Any]
    since: dt.datetime
    until: dt.datetime | None
    transaction: int
    ended_by: int | None = None  # the row of the history that keeps it

    def held_at(self, instant: dt.datetime) -> bool:
        return self.since <= instant and (self.until is None or instant < self.until)


@dataclass(frozen=True)
class FieldChange:
    name: str
    was: str
    now: str


# ---- versions ----
class StoredVersion(NamedTuple):
    """A row of the history, or the row itself as it is now (then without id, time and
    transaction).
    """

    row_id: int
    history_id: int | None
    values: dict[str, Any]
    ended_at: dt.datetime | None
    ended_in: int | None


VERSIONS = sql.SQL("""
    SELECT row_id, id, before::text, at, transaction FROM plant_rowhistory
    WHERE table_name = {name} AND row_id = ANY(%(ids)s)
    UNION ALL
    SELECT id, NULL, to_jsonb(t)::text, NULL, NULL FROM {table} t WHERE id = ANY(%(ids)s)
""")


def versions_of(model: type[models.Model], pks: Collection[int]) -> dict[int, list[Version]]:
    """Every version of these rows, oldest first, also of rows deleted since; one query for any
    number of rows.
    """
    return versions_of_all({model: pks})[model]


def versions_of_all(
    wanted: Mapping[type[models.Model], Collection[int]],
) -> dict[type[models.Model], dict[int, list[Version]]]:
    """versions_of for rows of several tables, in one query."""
    parts, values = [], {}
    for n, (model, pks) in enumerate(wanted.items()):
        table = model._meta.db_table
        part = VERSIONS.format(name=sql.Literal(table), table=sql.Identifier(table)).as_string()
        part = part.replace("%(ids)s", f"%(ids{n})s")
        parts.append(f"SELECT {n}, * FROM ({part}) part{n}")  # noqa: S608 - made above
        values[f"ids{n}"] = list(pks)
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(parts) + " ORDER BY 1, 2, 3 NULLS LAST", values)
        stored = cursor.fetchall()
    rows: list[dict[int, list[StoredVersion]]] = [defaultdict(list) for _ in wanted]
    for n, row_id, history_id, text, at, transaction in stored:
        rows[n][row_id].append(StoredVersion(row_id, history_id, json.loads(text), at, transaction))
    return {
        model: {pk: _versions(kept) for pk, kept in of_model.items()}
        for model, of_model in zip(wanted, rows, strict=True)
    }


def _versions(kept: list[StoredVersion]) -> list[Version]:
    """Each state began when the one before it ended, the first when the row was entered."""
    first = kept[0].values
    begins = [(_instant(first["entered_at"]), int(first["entered_in"]))]
    begins += [(row.ended_at, row.ended_in) for row in kept if row.ended_at and row.ended_in]
    return [
        Version(row.values, since, row.ended_at, transaction, row.history_id)
        for row, (since, transaction) in zip(kept, begins, strict=False)
    ]


def _instant(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def changes_between(
    model: type[models.Model], before: dict[str, Any], after: dict[str, Any]
) -> list[FieldChange]:
    """What differs between two versions, field by field, as a person reads it."""
    changed = []
    for field in model._meta.concrete_fields:
        name = field.attname
        if name in DATABASE_OWN or getattr(field, "generated", False) or not field.editable:
            continue
        if before.get(name) != after.get(name):
            was, now = _shown(field, before.get(name)), _shown(field, after.get(name))
            changed.append(FieldChange(str(field.verbose_name), was, now))
    return changed


def _shown(field: models.Field, value: Any) -> str:
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(field, models.ForeignKey):
        return _related(field.remote_field.model, value)
    if isinstance(field, models.DateField) and len(str(value)) == len("2026-01-31"):
        return day_text(dt.date.fromisoformat(str(value)))
    choices = dict(field.flatchoices)
    if value in choices:
        return str(choices[value])
    return f"{value:f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def _related(model: type[models.Model], pk: int) -> str:
    row = model._base_manager.filter(pk=pk).first()
    return str(row) if row is not None else f"number {pk}"


# ---- who and why ----
def entries_of(transactions: Collection[int]) -> dict[int, LedgerEntry]:
    """The ledger's entry of each of these transactions."""
    rows = LedgerEntry.objects.filter(transaction__in=set(transactions)).order_by("-id")
    return {entry.transaction: entry for entry in rows}


@dataclass(frozen=True)
class RowChange:
    """One row that a transaction changed or deleted."""

    what: str
    name: str
    act: str
    changes: list[FieldChange]


MOST_ROWS = 200


def rows_changed_in(transaction: int, *, site_ids: Collection[int]) -> list[RowChange]:
    """What else the transaction changed, row by row, up to MOST_ROWS; rows of other sites are left
    out.
    """
    tables = {model._meta.db_table: model for model in _kept_models()}
    rows = RowHistory.objects.filter(transaction=transaction, table_name__in=tables).order_by("id")
    kept = [r for r in rows[:MOST_ROWS] if r.before.get("site_id") in (None, *site_ids)]
    pks: dict[str, set[int]] = defaultdict(set)
    for row in kept:
        pks[row.table_name].add(row.row_id)
    versions = versions_of_all({tables[name]: ids for name, ids in pks.items()}) if pks else {}
    models_of = [tables[row.table_name] for row in kept]
    return [_row_change(row, m, versions[m]) for row, m in zip(kept, models_of, strict=True)]


def _row_change(
    row: RowHistory, model: type[models.Model], versions: dict[int, list[Version]]
) -> RowChange:
    held = versions[row.row_id]
    place = next(n for n, version in enumerate(held) if version.ended_by == row.pk)
    after = held[place + 1] if place + 1 < len(held) else None
    changed = after is not None and row.act == "update"
    changes = changes_between(model, row.before, after.values) if after and changed else []
    name = next(
        (
            str(row.before[key])
            for key in ("tag", "name", "serial", "username")
            if row.before.get(key)
        ),
        "",
    )
    what = str(model._meta.verbose_name)
    return RowChange(what, name or f"number {row.row_id}", row.act, changes)


def _kept_models() -> list[type[models.Model]]:
    """Models whose tables keep their row history."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
            r"WHERE tgname LIKE '%\_kept\_update'"
        )
        names = {name for (name,) in cursor.fetchall()}
    return [model for model in apps.get_models() if model._meta.db_table in names]
