"""What every row of a site shares: the wall between sites."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.db import models

if TYPE_CHECKING:
    from plant.people.models import Person


class SiteQuerySet(models.QuerySet):
    """Rows of one or more sites. Every page starts from ``seen_by``."""

    def seen_by(self, person: Person) -> Self:
        """The rows of the sites on which ``person`` may see the register and its history."""
        return self.filter(site_id__in=person.site_ids("see"))
