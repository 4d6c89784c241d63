"""The audit trail: acts of people (written by plant.ledger) and row history (written by
triggers).
"""

from __future__ import annotations

from typing import Self

from django.contrib.postgres.functions import TransactionNow
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models.functions import Cast


def transaction_number() -> Cast:
    """The database's number of the running transaction: it groups a ledger entry with its rows."""
    number = models.Func(function="pg_current_xact_id", output_field=models.TextField())
    return Cast(Cast(number, models.TextField()), models.BigIntegerField())


class LedgerQuerySet(models.QuerySet):
    def seen_by(self, person) -> Self:
        return self.filter(site_id__in=person.site_ids("read ledger"))


class LedgerEntry(models.Model):
    """One act by one person: who, when, what, on what, why. Rows are only ever added (trigger)."""

    at = models.DateTimeField("when", db_default=TransactionNow())
    transaction = models.BigIntegerField(db_default=transaction_number())
    person = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+", verbose_name="who"
    )
    person_name = models.CharField("who", max_length=120)
    site = models.ForeignKey("plant.Site", models.PROTECT, null=True, blank=True, related_name="+")
    act = models.CharField("act", max_length=40)
    subject_kind = models.CharField("kind", max_length=40)
    subject_id = models.BigIntegerField(null=True, blank=True)
    subject = models.CharField("on", max_length=200)
    why = models.TextField("why", blank=True)
    details = models.JSONField(default=dict, encoder=DjangoJSONEncoder)

    objects = LedgerQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["site", "-id"], name="ledger_by_site"),
            models.Index(fields=["subject_kind", "subject_id", "-id"], name="ledger_by_subject"),
            models.Index(fields=["transaction"], name="ledger_by_transaction"),
        ]

    def __str__(self) -> str:
        return f"{self.person_name}: {self.act} {self.subject}"


class RowHistory(models.Model):
    """What a row held before a change or a deletion, kept by a trigger whatever made the change.

    The version in force at an instant is the ``before`` of the first change after it, or else the
    row itself.
    """

    table_name = models.CharField(max_length=63)
    row_id = models.BigIntegerField()
    act = models.CharField(max_length=6)
    before = models.JSONField()
    at = models.DateTimeField(db_default=TransactionNow())
    transaction = models.BigIntegerField(db_default=transaction_number())
    db_role = models.CharField(max_length=63)

    class Meta:
        indexes = [
            models.Index(fields=["table_name", "row_id", "id"], name="history_by_row"),
            models.Index(fields=["transaction"], name="history_by_transaction"),
        ]

    def __str__(self) -> str:
        return f"{self.act} {self.table_name} {self.row_id}"
