"""The one writer of the ledger. It lives here so that both apps may use it."""

from __future__ import annotations

from typing import Any

from django.db import connection, models

from plant.ledger.models import LedgerEntry
from plant.people.models import Person
from plant.sites.models import Site


class OutsideTransaction(RuntimeError):
    """An entry must share the transaction of the change it records, or neither may be stored."""


def enter(
    act: str,
    *,
    on: models.Model,
    by: Person | None,
    why: str = "",
    details: dict[str, Any] | None = None,
    site: Site | None = None,
) -> LedgerEntry:
    """Write one entry: ``by`` did ``act`` on the row ``on``. ``by=None`` is Spanbook itself (a
    scheduled task).

    ``site``: where the entry is kept when the row itself belongs to no site, such as a person.
    Raises OutsideTransaction outside ``transaction.atomic()``.
    """
    if not connection.in_atomic_block:
        raise OutsideTransaction(f"ledger entry {act!r} outside a transaction")
    site_id = on.pk if on._meta.label == "plant.Site" else getattr(on, "site_id", None)
    if site is not None:
        site_id = site.pk
    return LedgerEntry.objects.create(
        act=act,
        person=by,
        person_name=by.name if by else "Spanbook",
        site_id=site_id,
        subject_kind=str(on._meta.verbose_name),
        subject_id=on.pk,
        subject=str(on)[:200],
        why=why,
        details=details or {},
    )


def changes(before: models.Model, after: models.Model) -> dict[str, list[str]]:
    """What differs between two states of one row, as the ledger shows it: field name to [was,
    is].
    """
    pairs = {
        str(field.verbose_name): [
            str(field.value_from_object(before)),
            str(field.value_from_object(after)),
        ]
        for field in before._meta.concrete_fields
        if not getattr(field, "generated", False)
    }
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}
