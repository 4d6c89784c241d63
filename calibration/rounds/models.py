from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from plant.sites.querysets import SiteQuerySet


class Round(models.Model):
    """Days on which a technician visits an ordered list of stops; the stops are its jobs."""

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="rounds")
    name = models.CharField("name", max_length=80)
    starts_on = models.DateField("first day")
    ends_on = models.DateField("last day")
    technician = models.ForeignKey(
        "plant.Person", models.PROTECT, related_name="rounds", verbose_name="technician"
    )
    planned_by = models.ForeignKey("plant.Person", models.PROTECT, related_name="+")
    planned_at = models.DateTimeField()
    note = models.TextField("note", blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["-starts_on", "-id"]
        constraints = [
            models.UniqueConstraint("id", "site", name="round_and_site"),
            models.CheckConstraint(
                name="round_ends_after_it_starts",
                condition=Q(ends_on__gte=F("starts_on")),
                violation_error_message="The last day cannot be before the first.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return f"/rounds/{self.pk}/"
