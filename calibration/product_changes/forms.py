from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any

from django import forms

from plant.pages.digits import DigitsField
from plant.pages.forms import NamedRow, day_field
from plant.products.forms import product_named
from plant.products.models import Product
from plant.tanks.models import Tank
from plant.transmitters.probe import Contents


class ProductChangeForm(forms.Form):
    """What a tank holds from a day on."""

    product_name = NamedRow(
        offer="products", label="Product", max_length=80, required=False, help_text="Empty: none."
    )
    celsius = DigitsField(
        label="Its temperature", max_digits=6, decimal_places=2, unit="°C", required=False
    )
    on = day_field("Since", help_text="The first day on which the tank held it.")
    why = forms.CharField(label="Why", max_length=300, widget=forms.Textarea({"rows": 2}))

    def __init__(self, data: Any, *, tank: Tank, today: dt.date) -> None:
        initial = {"product_name": tank.product and tank.product.name, "celsius": tank.product_c}
        super().__init__(data, initial=initial | {"on": today})
        self.tank = tank

    def clean_product_name(self) -> Product | None:
        return product_named(self.cleaned_data["product_name"], self.tank.site)

    @property
    def contents(self) -> Contents:
        return Contents(self.cleaned_data["product_name"], self.cleaned_data["celsius"])

    @property
    def mark(self) -> str:
        """Of everything the shown figures depend on: what was typed, and what the tank held
        meanwhile.
        """
        typed = self.cleaned_data
        seen = typed["product_name"], typed["celsius"], typed["on"]
        held = self.tank.product_id, self.tank.product_c
        return hashlib.sha256(repr((seen, held)).encode()).hexdigest()[:24]
