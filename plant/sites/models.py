"""Where the tanks stand: site and area."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from plant.sites.querysets import SiteQuerySet


class Site(models.Model):
    """A plant with its own people and time zone. A due date is a date in this zone."""

    code = models.SlugField("short code", max_length=12, unique=True)
    name = models.CharField("name", max_length=80, unique=True)
    time_zone = models.CharField("time zone", max_length=40)
    crew_hours = models.DecimalField(
        "crew hours a week", max_digits=5, decimal_places=1, default=Decimal(40)
    )
    digest_at = models.TimeField("reminders go out at", default=dt.time(6))

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(name="crew_hours_not_negative", condition=Q(crew_hours__gte=0))
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.time_zone and self.time_zone not in zoneinfo.available_timezones():
            text = f"“{self.time_zone}” is not a time zone; write one such as Europe/Lisbon."
            raise ValidationError({"time_zone": text})

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    def day_of(self, at: dt.datetime) -> dt.date:
        """The calendar day at this site when the instant ``at`` happens."""
        return at.astimezone(self.zone).date()


class Area(models.Model):
    site = models.ForeignKey(Site, models.PROTECT, related_name="areas")
    name = models.CharField("name", max_length=80)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                "site",
                "name",
                name="area_name_unique_in_its_site",
                violation_error_message="This site already has an area of that name.",
            ),
            models.UniqueConstraint("id", "site", name="area_and_site"),
        ]

    def __str__(self) -> str:
        return self.name
