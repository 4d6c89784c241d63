from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q

from plant.sites.querysets import SiteQuerySet


class Product(models.Model):
    """What a tank holds. Permittivity and density hold at their reference temperatures."""

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="products")
    name = models.CharField("product", max_length=80)
    conducts = models.BooleanField("conducting liquid", default=False)
    permittivity = models.DecimalField(
        "relative permittivity", max_digits=7, decimal_places=3, null=True, blank=True
    )
    permittivity_c = models.DecimalField(
        "at, °C", max_digits=6, decimal_places=2, default=Decimal(20)
    )
    permittivity_per_k = models.DecimalField(
        "its change per kelvin", max_digits=8, decimal_places=5, default=Decimal(0)
    )
    density = models.DecimalField(
        "density, kg/m³", max_digits=8, decimal_places=2, null=True, blank=True
    )
    density_c = models.DecimalField("at, °C", max_digits=6, decimal_places=2, default=Decimal(20))
    density_per_k = models.DecimalField(
        "its change per kelvin", max_digits=8, decimal_places=4, default=Decimal(0)
    )

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                "site",
                "name",
                name="product_name_unique_in_its_site",
                violation_error_message="This site already has a product of that name.",
            ),
            models.UniqueConstraint("id", "site", name="product_and_site"),
            models.CheckConstraint(
                name="permittivity_at_least_one",
                condition=Q(permittivity=None) | Q(permittivity__gte=1),
                violation_error_message="A relative permittivity is never below 1.",
            ),
            models.CheckConstraint(
                name="density_above_zero",
                condition=Q(density=None) | Q(density__gt=0),
                violation_error_message="A density must be above zero.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
