"""The device with a serial number, and which measuring point it served when."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateRangeField, RangeBoundary, RangeOperators
from django.db import models
from django.db.models import F, Func, Q

from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet


class Principle(LowerCaseChoices):
    CAPACITANCE_ROD = "capacitance rod"
    CAPACITANCE_ROPE = "capacitance rope"
    HYDROSTATIC = "hydrostatic"
    DIFFERENTIAL_PRESSURE = "differential pressure"
    RADAR = "radar"
    GUIDED_WAVE = "guided wave"
    ULTRASONIC = "ultrasonic"
    DISPLACER = "displacer"
    MAGNETOSTRICTIVE = "magnetostrictive"
    FLOAT = "float"


class Transmitter(models.Model):
    class Wiring(LowerCaseChoices):
        TWO = "2-wire"
        THREE = "3-wire"
        FOUR = "4-wire"

    class Status(LowerCaseChoices):
        IN_SERVICE = "in service"
        SPARE = "spare"
        IN_REPAIR = "in repair"
        SCRAPPED = "scrapped"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="transmitters")
    serial = models.CharField("serial number", max_length=60)
    maker = models.CharField("maker", max_length=80, blank=True)
    model = models.CharField("model", max_length=80, blank=True)
    principle = models.CharField("principle", max_length=24, choices=Principle)
    wiring = models.CharField("wiring", max_length=6, choices=Wiring, default=Wiring.TWO)
    status = models.CharField("status", max_length=12, choices=Status, default=Status.SPARE)
    probe_length_mm = models.DecimalField(
        "probe length, mm", max_digits=9, decimal_places=2, null=True, blank=True
    )
    probe_diameter_mm = models.DecimalField(
        "rod or rope diameter, mm", max_digits=8, decimal_places=3, null=True, blank=True
    )
    insulation_mm = models.DecimalField(
        "insulation thickness, mm", max_digits=7, decimal_places=3, null=True, blank=True
    )
    insulation_permittivity = models.DecimalField(
        "insulation permittivity", max_digits=6, decimal_places=3, null=True, blank=True
    )
    note = models.TextField("note", blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["serial"]
        constraints = [
            models.UniqueConstraint(
                "site",
                "serial",
                "maker",
                name="serial_unique_per_maker_and_site",
                violation_error_message="This site already has a transmitter of that maker with "
                "that serial number.",
            ),
            models.UniqueConstraint("id", "site", name="transmitter_and_site"),
            models.CheckConstraint(
                name="probe_data_above_zero",
                condition=(Q(probe_length_mm=None) | Q(probe_length_mm__gt=0))
                & (Q(probe_diameter_mm=None) | Q(probe_diameter_mm__gt=0))
                & (Q(insulation_mm=None) | Q(insulation_mm__gt=0))
                & (Q(insulation_permittivity=None) | Q(insulation_permittivity__gte=1)),
                violation_error_message="Probe dimensions must be above zero, a permittivity at "
                "least 1.",
            ),
            models.CheckConstraint(
                name="principle_is_known", condition=Q(principle__in=Principle.values)
            ),
        ]

    def __str__(self) -> str:
        return " ".join(part for part in (self.maker, self.model, self.serial) if part)

    def get_absolute_url(self) -> str:
        return f"/transmitters/{self.pk}/"


class InstallationQuerySet(SiteQuerySet):
    def on_day(self, day: dt.date) -> Self:
        return self.filter(installed_on__lte=day).filter(Q(removed_on=None) | Q(removed_on__gt=day))


def _days() -> Func:
    return Func(
        F("installed_on"),
        F("removed_on"),
        RangeBoundary(inclusive_lower=True, inclusive_upper=False),
        function="DATERANGE",
        output_field=DateRangeField(),
    )


class Installation(models.Model):
    """A transmitter serves a measuring point from a day (inclusive) until a day (exclusive) or
    until now.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="installations")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="installations", db_constraint=False
    )
    transmitter = models.ForeignKey(
        Transmitter, models.PROTECT, related_name="installations", db_constraint=False
    )
    installed_on = models.DateField("installed on")
    removed_on = models.DateField("removed on", null=True, blank=True)
    note = models.CharField("note", max_length=200, blank=True)

    objects = InstallationQuerySet.as_manager()

    class Meta:
        ordering = ["-installed_on"]
        constraints = [
            ExclusionConstraint(
                name="one_installation_per_point_at_a_time",
                expressions=[("point", RangeOperators.EQUAL), (_days(), RangeOperators.OVERLAPS)],
                violation_error_message=(
                    "Another transmitter is installed at this measuring point in that time."
                ),
            ),
            ExclusionConstraint(
                name="one_point_per_transmitter_at_a_time",
                expressions=[
                    ("transmitter", RangeOperators.EQUAL),
                    (_days(), RangeOperators.OVERLAPS),
                ],
                violation_error_message=(
                    "This transmitter is installed at another measuring point in that time."
                ),
            ),
            models.CheckConstraint(
                name="removed_after_installed",
                condition=Q(removed_on=None) | Q(removed_on__gt=F("installed_on")),
                violation_error_message="A transmitter is removed after the day it was installed.",
            ),
            models.UniqueConstraint(
                "point", condition=Q(removed_on=None), name="one_present_installation_per_point"
            ),
            models.UniqueConstraint(
                "transmitter",
                condition=Q(removed_on=None),
                name="one_present_point_per_transmitter",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.transmitter} at {self.point}"
