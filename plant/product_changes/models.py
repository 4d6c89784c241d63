from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from plant.sites.querysets import SiteQuerySet


class ProductChange(models.Model):
    """Another product in a tank since a day, or the same at another temperature.

    Where a reading depends on the product's permittivity or density it asks for a recalibration;
    ``demanded_at`` says when that was looked into.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="product_changes")
    tank = models.ForeignKey(
        "plant.Tank", models.PROTECT, related_name="product_changes", db_constraint=False
    )
    on = models.DateField("since")
    product_before = models.ForeignKey(
        "plant.Product", models.PROTECT, null=True, blank=True, related_name="+"
    )
    product = models.ForeignKey(
        "plant.Product", models.PROTECT, null=True, blank=True, related_name="+"
    )
    celsius_before = models.DecimalField(
        "temperature before, °C", max_digits=6, decimal_places=2, null=True, blank=True
    )
    celsius = models.DecimalField(
        "temperature, °C", max_digits=6, decimal_places=2, null=True, blank=True
    )
    why = models.CharField("why", max_length=300, blank=True)
    demanded_at = models.DateTimeField(null=True, blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-id"]
        indexes = [
            models.Index(fields=["tank", "-on", "-id"], name="product_change_by_tank"),
            models.Index(
                fields=["id"], condition=Q(demanded_at=None), name="product_change_to_look_into"
            ),
        ]
        constraints = [
            models.UniqueConstraint("id", "site", name="product_change_and_site"),
            models.CheckConstraint(
                name="product_change_changes_something",
                condition=~Q(product=F("product_before"))
                | Q(product=None)
                | Q(product_before=None)
                | ~Q(celsius=F("celsius_before"))
                | Q(celsius=None)
                | Q(celsius_before=None),
                violation_error_message="Neither the product nor its temperature changes.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product or 'no product'} in {self.tank} since {self.on}"
