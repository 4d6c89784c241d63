from __future__ import annotations

from django.db import models

from plant.models.sites import SiteQuerySet


class Trend(models.Model):
    """The drift of the transmitter now at a point, by an ordinary line through accumulated increments.

    Rates in % of span per year (365.25 days). Refitted in the transaction of each approval.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="+")
    point = models.OneToOneField("plant.MeasuringPoint", models.PROTECT, related_name="trend")
    transmitter = models.ForeignKey("plant.Transmitter", models.PROTECT, related_name="+")
    results = models.PositiveSmallIntegerField()
    zero_rate = models.FloatField(null=True, blank=True)
    zero_rate_se = models.FloatField(null=True, blank=True)
    span_rate = models.FloatField(null=True, blank=True)
    span_rate_se = models.FloatField(null=True, blank=True)
    # The first day on which the 95 % band of zero or span meets the tolerance; None: not within 10 years.
    crossing_on = models.DateField(null=True, blank=True)
    crossing_of = models.CharField(max_length=4, blank=True)

    objects = SiteQuerySet.as_manager()

    def __str__(self) -> str:
        return f"trend of {self.point}"
