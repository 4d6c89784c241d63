"""Tanks and their strapping tables."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from plant.choices import LowerCaseChoices
from plant.level import units
from plant.sites.models import Area, Site
from plant.sites.querysets import SiteQuerySet


class Tank(models.Model):
    """A vessel. Dimensions as entered, in ``unit``; levels count from the datum plate, ``datum``
    above the bottom.
    """

    class Shape(LowerCaseChoices):
        VERTICAL = "vertical", "vertical cylinder"
        HORIZONTAL = "horizontal", "horizontal cylinder"
        RECTANGULAR = "rectangular"
        SPHERE = "sphere"
        STRAPPED = "strapped", "strapping table only"

    class End(LowerCaseChoices):
        FLAT = "flat"
        CONE = "cone"
        DISHED = "dished", "dished (torispherical)"
        ELLIPSOIDAL = "ellipsoidal"
        HEMISPHERICAL = "hemispherical"
        OPEN = "open"

    class LengthUnit(LowerCaseChoices):
        MM = "mm", "mm"
        CM = "cm", "cm"
        M = "m", "m"
        IN = "in", "in"
        FT = "ft", "ft"

    site = models.ForeignKey(Site, models.PROTECT, related_name="tanks")
    area = models.ForeignKey(
        Area, models.PROTECT, related_name="tanks", db_constraint=False, verbose_name="area"
    )
    name = models.CharField("tank", max_length=40)
    name_key = models.CharField(max_length=120, editable=False)
    shape = models.CharField("shape", max_length=12, choices=Shape)
    unit = models.CharField("unit of the dimensions", max_length=2, choices=LengthUnit, default="m")
    diameter = models.DecimalField(
        "diameter", max_digits=12, decimal_places=5, null=True, blank=True
    )
    height = models.DecimalField(
        "straight height or length", max_digits=12, decimal_places=5, null=True, blank=True
    )
    length = models.DecimalField("length", max_digits=12, decimal_places=5, null=True, blank=True)
    width = models.DecimalField("width", max_digits=12, decimal_places=5, null=True, blank=True)
    bottom = models.CharField("bottom, or ends", max_length=14, choices=End, default=End.FLAT)
    bottom_depth = models.DecimalField(
        "depth of bottom or of each end", max_digits=12, decimal_places=5, null=True, blank=True
    )
    roof = models.CharField("roof", max_length=14, choices=End, default=End.FLAT)
    roof_depth = models.DecimalField(
        "height of the roof", max_digits=12, decimal_places=5, null=True, blank=True
    )
    far_end = models.CharField(
        "other end, where it differs",
        max_length=14,
        choices=End,
        default="",
        db_default="",
        blank=True,
    )
    far_end_depth = models.DecimalField(
        "depth of the other end", max_digits=12, decimal_places=5, null=True, blank=True
    )
    datum = models.DecimalField(
        "datum plate above the lowest point", max_digits=12, decimal_places=5, default=Decimal(0)
    )
    lowest_level = models.DecimalField(
        "lowest working level", max_digits=12, decimal_places=5, null=True, blank=True
    )
    highest_level = models.DecimalField(
        "highest working level", max_digits=12, decimal_places=5, null=True, blank=True
    )
    wall_conducts = models.BooleanField("the wall conducts", default=True)
    product = models.ForeignKey(
        "plant.Product",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="tanks",
        db_constraint=False,
        verbose_name="product",
    )
    product_c = models.DecimalField(
        "product temperature, °C", max_digits=6, decimal_places=2, null=True, blank=True
    )
    # Kept beside the dimensions by the operation that writes them: SQL checks ranges against these.
    inside_height_m = models.FloatField(editable=False)
    capacity_m3 = models.FloatField(editable=False)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["name_key"]
        constraints = [
            models.UniqueConstraint(
                "site",
                "name",
                name="tank_name_unique_in_its_site",
                violation_error_message="This site already has a tank of that name.",
            ),
            models.UniqueConstraint("id", "site", name="tank_and_site"),
            models.CheckConstraint(
                name="tank_has_height_and_capacity",
                condition=Q(inside_height_m__gt=0, capacity_m3__gt=0),
                violation_error_message="The dimensions give no volume; check diameter and height.",
            ),
            models.CheckConstraint(
                name="working_levels_in_order",
                condition=Q(lowest_level=None)
                | Q(highest_level=None)
                | Q(lowest_level__lt=F("highest_level")),
                violation_error_message="The lowest working level must be below the highest.",
            ),
            models.CheckConstraint(
                name="tank_shape_is_known",
                condition=Q(
                    shape__in=["vertical", "horizontal", "rectangular", "sphere", "strapped"]
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def metres(self, value: Decimal | None) -> float | None:
        return None if value is None else float(units.to_metres(value, self.unit))

    @property
    def datum_m(self) -> float:
        return float(units.to_metres(self.datum, self.unit))


class StrappingRow(models.Model):
    """One line of a tank's strapping table: volume below a height above the lowest point."""

    tank = models.ForeignKey(Tank, models.CASCADE, related_name="strapping")
    height = models.DecimalField("height", max_digits=12, decimal_places=5)
    volume_m3 = models.DecimalField("volume, m³", max_digits=14, decimal_places=5)

    class Meta:
        ordering = ["tank", "height"]
        constraints = [
            models.UniqueConstraint("tank", "height", name="one_strapping_volume_per_height"),
            models.CheckConstraint(
                name="strapping_row_not_negative", condition=Q(height__gte=0, volume_m3__gte=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.height}: {self.volume_m3} m³"
