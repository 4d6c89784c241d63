"""Families of like transmitters, and what their histories say of drift."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models


def number_array() -> ArrayField:
    return ArrayField(models.FloatField(), default=list, blank=True)


class Family(models.Model):
    """Transmitters of one principle, in liquids that conduct or do not where that matters; of all
    sites.

    What members share is numbers only: the mean rate at zero and at span (% of span a year),
    its spread between instruments, how well the mean is known, and the weights of the laws of
    drift (calibration.metrology.wander.laws).
    """

    key = models.CharField(max_length=60, unique=True)
    principle = models.CharField("principle", max_length=24)
    conducts = models.BooleanField("liquid conducts", null=True, blank=True)
    # Members whose history was fitted; a member with fewer than 5 others takes nothing from them.
    members = models.PositiveIntegerField(default=0)
    # As founds of its standing records, and how many of them were in tolerance; counted at the end
    # of each pass.
    results = models.PositiveIntegerField(default=0, db_default=0)
    found_in = models.PositiveIntegerField("found in tolerance", default=0, db_default=0)
    tolerance_percent = models.FloatField("median tolerance, % of span", null=True, blank=True)
    zero_rate = models.FloatField(null=True, blank=True)
    zero_spread = models.FloatField(null=True, blank=True)
    zero_mean_sd = models.FloatField(null=True, blank=True)
    zero_weights = number_array()
    span_rate = models.FloatField(null=True, blank=True)
    span_spread = models.FloatField(null=True, blank=True)
    span_mean_sd = models.FloatField(null=True, blank=True)
    span_weights = number_array()
    # Of its members' error curves (calibration.metrology.shapes): mean, variance between members,
    # variance of a test; empty until fitted.
    shape_mean = number_array()
    shape_between = number_array()
    shape_within = number_array()
    # As founds forecast from the visits before them, and how many lay within the 95 % band.
    forecasts = models.PositiveIntegerField(default=0, db_default=0)
    forecasts_held = models.PositiveIntegerField(default=0, db_default=0)
    fitted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["key"]
        verbose_name_plural = "families"

    def __str__(self) -> str:
        return self.key

    def get_absolute_url(self) -> str:
        return f"/families/{self.pk}/"
