"""What every row of a site shares: the wall between sites."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.db import models

if TYPE_CHECKING:
    from plant.models.person import Person


class SiteQuerySet(models.QuerySet):
    """Rows of one or more sites. Every page starts from ``seen_by``."""

    def seen_by(self, person: Person) -> Self:
        """The rows of the sites on which ``person`` may see the register and its history."""
        return self.filter(site_id__in=person.site_ids("see"))


class TransactionNumber(models.Func):
    """The database's number of the running transaction; groups a ledger entry with its row changes."""

    template = "(pg_current_xact_id()::text::bigint)"
    output_field = models.BigIntegerField()
    arity = 0
