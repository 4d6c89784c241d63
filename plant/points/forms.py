"""Forms of measuring points."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from plant.level.tolerance import equivalent_tolerance
from plant.level.units import LENGTH_UNITS, VOLUME_UNITS
from plant.naming import natural_key
from plant.pages.forms import NamedRow, SiteForm, day_field, described_by
from plant.points import procedures
from plant.points.acts import POINT_FIELDS
from plant.points.columns import CALIBRATION, POINT, RANGE, TOLERANCE, WHERE
from plant.points.geometry import in_base, refuse_range_outside
from plant.points.models import MeasuringPoint
from plant.points.tolerance_texts import texts_of
from plant.saving import mark_of
from plant.tanks.models import Tank

SCHEDULE = ("interval_months", "grace_days", "due_on")


class PointForm(SiteForm):
    """A new measuring point, or with an instance the change of one. Interval and due date change
    elsewhere.
    """

    tank_name = NamedRow(offer="tanks", label="Tank", max_length=40)
    why = forms.CharField(
        label="Why",
        required=False,
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
        help_text="Needed when range, signal, tolerance, adjust limit or duty change.",
    )

    class Meta:
        model = MeasuringPoint
        fields = tuple(name for name in POINT_FIELDS if name != "tank")
        formfield_callback = described_by(POINT)
        help_texts = {
            "lower": "The level or volume at 0 % of the output (4 mA). Above the URV it is "
            "reverse action.",
            "upper": "The level or volume at 100 % of the output (20 mA).",
            "tolerance_down": "Only where it differs from upward; empty: the same.",
            "tolerance_sides": "Where it applies one way only, the range alone limits an error the "
            "other way, at 100 % of span, and no test uncertainty ratio is shown.",
            "adjust_limit": "In the unit of the tolerance, about zero; empty: half the "
            "nearer limit of the tolerance.",
        }

    GROUPS = (
        (WHERE, ("site", "tank_name", *POINT.group(WHERE))),
        (RANGE, POINT.group(RANGE)),
        (TOLERANCE, POINT.group(TOLERANCE)),
        (CALIBRATION, (*POINT.group(CALIBRATION), *SCHEDULE, "note", "why")),
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["adjust_limit"].required = False
        self.fields["procedure_key"] = _procedure_field(self.instance.procedure_key)
        if self.instance.pk:
            self.fields["tank_name"].initial = self.instance.tank.name
            self.fields["tolerance"].help_text = in_other_units(self.instance)
        else:
            del self.fields["why"]

    def mark(self, row: MeasuringPoint) -> str:
        return mark_of(row, POINT_FIELDS)

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [
            (title, [self[name] for name in names if name in self.fields])
            for title, names in self.GROUPS
        ]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if (
            values.get("adjust_limit") is None
            and values.get("tolerance") is not None
            and "adjust_limit" not in self.errors
        ):
            sides = (values["tolerance"], values.get("tolerance_down"))
            values["adjust_limit"] = min(side for side in sides if side is not None) / 2
        name, site = " ".join((values.get("tank_name") or "").split()), self.site
        tank = Tank.objects.filter(site=site, name__iexact=name).first() if name and site else None
        if tank is not None:
            self.instance.tank = tank
        elif name and site:
            self.add_error(
                "tank_name",
                f"{site} has no tank “{name}”. Choose one offered, or add the tank first.",
            )
        return values

    def prepare(self) -> None:
        self.instance.tag_key = natural_key(self.instance.tag or "")
        if {"lower", "upper", "unit", "quantity", "tank_name"} & set(self.errors):
            return
        refuse_range_outside(self.instance)

    def not_asked(self) -> set[str]:
        missing = super().not_asked()
        return missing | ({"tank"} if "tank_name" in self.errors else set())


class NewPointForm(PointForm):
    class Meta(PointForm.Meta):
        fields = (*PointForm.Meta.fields, *SCHEDULE)

    def __init__(self, *args: Any, today: dt.date, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["due_on"].initial = today
        self.fields["due_on"].label = "First due on"
        self.fields["due_on"].help_text = "Today, unless its last calibration is still in date."


def in_other_units(point: MeasuringPoint) -> str:
    """The tolerance of a point in the units it was not entered in: "1 % of span is ±0.160 mA, ±80
    mm".
    """
    units = VOLUME_UNITS if point.quantity == "volume" else LENGTH_UNITS
    if point.unit not in units or point.lower == point.upper:
        return ""
    given = point.given_limits
    size = equivalent_tolerance(
        given.size,
        point.tolerance_unit,
        span=abs(float(in_base(point, point.upper - point.lower))),
        signal=point.output,
        quantity=point.quantity,
    )
    texts = texts_of(given, size)
    texts.pop(point.tolerance_unit, None)
    return f"As stored that is {', '.join(texts.values())}." if texts else ""


def _procedure_field(chosen: str) -> forms.ChoiceField:
    known = procedures.choices()
    if chosen and chosen not in dict(known):
        known.append((chosen, chosen))
    return forms.ChoiceField(
        choices=[("", "the usual one for its transmitter"), *known],
        required=False,
        label="Procedure",
    )


class ServiceForm(forms.Form):
    """Takes a point out of service."""

    on = day_field("Out of service since")
    why = forms.CharField(
        label="Why", max_length=200, help_text="For example: tank opened for relining."
    )


class BackForm(forms.Form):
    """Puts a point back in service."""

    why = forms.CharField(label="Note", max_length=200, required=False)
