"""Forms of tanks."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from plant.naming import natural_key
from plant.pages.digits import DigitsField, plain
from plant.pages.forms import NamedRow, SiteForm, field_for
from plant.products.forms import product_named
from plant.tanks.acts import (
    CONTENTS,
    DIMENSIONS,
    TANK_FIELDS,
    Strapping,
    mark_of_tank,
    strapping_of,
)
from plant.tanks.geometry import derive
from plant.tanks.models import Tank


class StrappingField(forms.CharField):
    """A strapping table as typed: one height and one volume a line. Cleans to [(height, m³), …]."""

    def __init__(self, **more: Any) -> None:
        more["widget"] = forms.Textarea({"rows": 8, "spellcheck": "false"})
        super().__init__(**more)
        self.height = DigitsField(max_digits=12, decimal_places=5)
        self.volume = DigitsField(max_digits=14, decimal_places=5)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, list):
            return "\n".join(f"{plain(height)} {plain(volume)}" for height, volume in value)
        return value

    def to_python(self, value: Any) -> Strapping:  # type: ignore[override]
        lines = [line.replace(":", " ").replace(";", " ") for line in str(value or "").splitlines()]
        return [self._row(n, line.split()) for n, line in enumerate(lines, 1) if line.split()]

    def _row(self, line: int, words: list[str]) -> tuple[Decimal, Decimal]:
        if len(words) != 2:
            raise ValidationError(f"Line {line}: write a height and a volume, such as 0.5 12.3.")
        try:
            height, volume = self.height.clean(words[0]), self.volume.clean(words[1])
        except ValidationError as error:
            raise ValidationError(f"Line {line}: {' '.join(error.messages)}") from error
        if height < 0 or volume < 0:
            raise ValidationError(f"Line {line}: heights and volumes are not negative.")
        return height, volume


class TankForm(SiteForm):
    """A tank's data. What it holds is asked of a new tank only: later a change has its day and a
    page of its own.
    """

    area_name = NamedRow(
        offer="areas",
        label="Area",
        max_length=80,
        help_text="An area of that name is added when there is none yet.",
    )
    product_name = NamedRow(offer="products", label="Product", max_length=80, required=False)
    strapping = StrappingField(
        label="Strapping table",
        required=False,
        help_text="One row a line: height above the lowest point in the unit above, then the "
        "volume below it in m³.",
    )

    class Meta:
        model = Tank
        fields = tuple(
            name for name in (*TANK_FIELDS, *CONTENTS) if name not in ("area", "product")
        )
        formfield_callback = field_for
        labels = {"wall_conducts": "The wall conducts (metal)"}
        help_texts = {
            "datum": "Levels count from the datum plate. 0 where it lies at the lowest point.",
            "height": "Straight part, without bottom and roof.",
            "length": "Of a horizontal cylinder without its ends; of a rectangular tank.",
            "bottom": "Of a horizontal cylinder: both ends, or the one end.",
            "far_end": "Of a horizontal cylinder whose ends are unlike; empty: both are alike.",
            "far_end_depth": "Empty: the usual depth of that form.",
            "bottom_depth": "Empty: the usual depth of that form.",
            "roof_depth": "Empty: the usual depth of that form.",
        }

    GROUPS = (
        ("Where and what", ("site", "area_name", "name", "product_name", "product_c")),
        ("Form and dimensions", ("shape", "unit", *DIMENSIONS, "strapping")),
        ("Levels", ("datum", "lowest_level", "highest_level", "wall_conducts")),
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["height"].label = "Straight height"
        if self.instance.pk:
            self.fields["area_name"].initial = self.instance.area.name
            del self.fields["product_name"], self.fields["product_c"]
            self.fields["strapping"].initial = strapping_of(self.instance)

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(name for name in super().columns if name in self.fields)

    def mark(self, row: Tank) -> str:
        return mark_of_tank(row)

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [
            (title, [self[name] for name in names if name in self.fields])
            for title, names in self.GROUPS
        ]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if self.site and "product_name" in self.fields:
            try:
                self.instance.product = product_named(values.get("product_name"), self.site)
            except ValidationError as error:
                self.add_error("product_name", error)
        return values

    def prepare(self) -> None:
        self.instance.name_key = natural_key(self.instance.name or "")
        if not self.not_derivable():
            derive(self.instance, self.cleaned_data.get("strapping", ()))

    def not_derivable(self) -> set[str]:
        return {
            "shape",
            "unit",
            "datum",
            "strapping",
            "lowest_level",
            "highest_level",
            *DIMENSIONS,
        } & set(self.errors)

    def not_asked(self) -> set[str]:
        # The area is found or made when the tank is stored.
        missing = {"area"} | super().not_asked()
        if self.instance.inside_height_m is None:
            missing |= {"inside_height_m", "capacity_m3"}
        return missing
