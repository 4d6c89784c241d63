"""The forms of a procedure's version, above its steps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.text import slugify

from calibration.procedures.delivered import Shared
from calibration.procedures.models import (
    OUTPUT_ALONE,
    InputWay,
    ProcedureVersion,
    Shape,
)
from calibration.procedures.step_forms import rows_of
from calibration.procedures.version_change import Content, Step
from calibration.records.models import Adjustment
from plant.refusals import Refused
from plant.transmitters.models import Principle

# A little beyond both ends: 3.8 and 20.5 mA are -1.25 and 103.125 % (NE 43, from memory).
LEAST, MOST, MOST_POINTS = -25, 125, 25
# What holds for test points, and what is said where it does not; the first that fails is said.
RULES_OF_POINTS: tuple[tuple[Callable[[list[Decimal]], bool], str], ...] = (
    (
        lambda points: all(point.is_finite() and LEAST <= point <= MOST for point in points),
        f"Each point must be between {LEAST} and {MOST} %.",
    ),
    (lambda points: all(point == round(point, 2) for point in points), "At most two decimals."),
    (lambda points: points == sorted(set(points)), "The points must rise, each once."),
    (lambda points: len(points) <= MOST_POINTS, f"At most {MOST_POINTS} points."),
)
PARTS = (("output", "the output"), ("primary", "the primary element"))
# Empty steps between what all procedures share, in the order that a record needs.
ROOM = (("prepare", ""), ("read", "as found"), ("adjust", ""), ("read", "as left"), ("prepare", ""))


class VersionForm(forms.Form):
    """What a version says above its steps. ``is_looked_at``: it is not published yet, so that no
    reason is due.
    """

    way = forms.ChoiceField(label="Input applied by", choices=InputWay.choices)
    percents = forms.CharField(
        label="Test points, % of span", help_text="Rising, with commas: 0, 25, 50, 75, 100."
    )
    up_and_down = forms.BooleanField(label="Rising, then falling", required=False)
    settle_seconds = forms.IntegerField(
        label="Settle", min_value=0, max_value=7200, widget=forms.NumberInput({"data-unit": "s"})
    )
    adjusts = forms.MultipleChoiceField(
        label="What may be adjusted",
        choices=Adjustment.Kind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    covers = forms.MultipleChoiceField(
        label="What it tests",
        choices=PARTS,
        widget=forms.CheckboxSelectMultiple,
        help_text="The due date moves when output and primary element are calibrated, by one "
        "procedure or by two close together.",
        error_messages={"required": "Choose the output, the primary element or both."},
    )
    is_check = forms.BooleanField(
        label="A check, not a calibration",
        required=False,
        help_text="A check is evidence for trend and status; it moves no due date.",
    )
    stops = forms.CharField(
        label="When to stop and call for help",
        required=False,
        widget=forms.Textarea({"rows": 6}),
        help_text="One line each.",
    )
    reason = forms.CharField(
        label="What changes and why", max_length=300, help_text="An auditor will ask."
    )

    def __init__(self, *args: Any, is_looked_at: bool = False, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["reason"].required = not is_looked_at

    def content(self, steps: Sequence[Step], *, shape: str) -> Content:
        names = ("way", "percents", "up_and_down", "settle_seconds", "adjusts", "stops")
        values = {name: self.cleaned_data[name] for name in (*names, "is_check")}
        values |= {f"covers_{part}": part in self.cleaned_data["covers"] for part, _ in PARTS}
        return Content(**values, steps=steps, shape=shape)

    def clean_percents(self) -> list[Decimal]:
        try:
            points = [Decimal(part.strip()) for part in self.cleaned_data["percents"].split(",")]
        except InvalidOperation:
            raise forms.ValidationError(
                "Numbers with commas between them, such as 0, 50, 100."
            ) from None
        for is_right, message in RULES_OF_POINTS:
            if not is_right(points):
                raise forms.ValidationError(message)
        return points

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or self.cleaned_data
        if typed.get("way") in OUTPUT_ALONE and "primary" in typed.get("covers", ()):
            self.add_error("covers", "This way of applying the input tests the output alone.")
        return typed

    def clean_stops(self) -> list[str]:
        return [line.strip() for line in self.cleaned_data["stops"].splitlines() if line.strip()]

    def refuse(self, refusal: Refused) -> None:
        self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


class ProcedureForm(VersionForm):
    """The next version of a procedure."""

    based_on = forms.IntegerField(widget=forms.HiddenInput)


class NewProcedureForm(VersionForm):
    """A new procedure with its first version."""

    name = forms.CharField(
        label="Name", max_length=120, help_text="What is calibrated and how, in a few words."
    )
    key = forms.SlugField(
        label="Key",
        max_length=40,
        required=False,
        help_text="Its address and its word in imports; made from the name when left empty. It "
        "stays for good.",
    )
    principles = forms.MultipleChoiceField(
        label="For transmitters of",
        choices=Principle.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one principle."},
    )
    shape = forms.ChoiceField(
        label="Reads",
        choices=Shape.choices,
        help_text="The tablet lays out its screens by it; it stays for all versions.",
    )
    reason = forms.CharField(
        label="Why it is needed", max_length=300, help_text="Shown beside version 1."
    )
    field_order = ("name", "key", "principles", "shape", "way")

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or self.cleaned_data
        if not typed.get("key") and "key" not in self.errors and typed.get("name"):
            typed["key"] = slugify(typed["name"])[:40].strip("-")
            if not typed["key"]:
                self.add_error("key", "No key can be made of this name; type one of letters.")
        return typed


def filled_from(version: ProcedureVersion) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The initial values of the forms: the version as it is."""
    values = {
        "based_on": version.number,
        "way": version.way,
        "up_and_down": version.up_and_down,
        "percents": ", ".join(f"{p.normalize():f}" for p in version.percents),
        "settle_seconds": version.settle_seconds,
        "adjusts": version.adjusts,
        "covers": [part for part, _ in PARTS if getattr(version, f"covers_{part}")],
        "is_check": version.is_check,
        "stops": "\n".join(version.stops),
    }
    return values, rows_of(version.steps.all())


def filled_from_shared(shared: Shared) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The initial values of the forms of a new procedure: what all share, and room between."""
    values = {
        "shape": Shape.POINTS,
        "percents": "0, 25, 50, 75, 100",
        "up_and_down": True,
        "settle_seconds": 30,
        "covers": [part for part, _ in PARTS],
        "stops": "\n".join(shared.stops),
    }
    rows = rows_of(
        [*shared.before, *(Step(kind, "", stage=stage) for kind, stage in ROOM), *shared.after]
    )
    return values, rows
