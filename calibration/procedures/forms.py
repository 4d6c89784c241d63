"""The forms of a procedure: its facts, its steps one below the other; a site's wording. No script
is needed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.text import Truncator, slugify

from calibration.procedures.delivered import Shared
from calibration.procedures.models import (
    InputWay,
    ProcedureStep,
    ProcedureVersion,
    Shape,
    SiteWording,
)
from calibration.procedures.version_change import Content, Step
from calibration.records.models import Adjustment
from plant.pages.forms import RuleForm, field_for
from plant.refusals import Refused
from plant.sites.models import Site
from plant.transmitters.models import Principle

ASKS = ("text", "number", "time", "tick", "photo", "standards")
MOST_STEPS = 80
# A little beyond both ends: 3.8 and 20.5 mA are -1.25 and 103.125 % (NE 43, from memory).
LEAST, MOST, MOST_POINTS = -25, 125, 25
FREE = 3  # empty steps at the end, for new ones
# Empty steps between what all procedures share, in the order that a record needs.
ROOM = (("prepare", ""), ("read", "as found"), ("adjust", ""), ("read", "as left"), ("prepare", ""))


class FactsForm(forms.Form):
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
    stops = forms.CharField(
        label="When to stop and call somebody",
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
        facts = {name: self.cleaned_data[name] for name in names}
        return Content(**facts, steps=steps, shape=shape)

    def clean_percents(self) -> list[Decimal]:
        try:
            points = [Decimal(part.strip()) for part in self.cleaned_data["percents"].split(",")]
        except InvalidOperation:
            raise forms.ValidationError(
                "Numbers with commas between them, such as 0, 50, 100."
            ) from None
        if not all(point.is_finite() and LEAST <= point <= MOST for point in points):
            raise forms.ValidationError(f"Each point lies between {LEAST} and {MOST} %.")
        if any(point != round(point, 2) for point in points):
            raise forms.ValidationError("At most two decimals.")
        if points != sorted(set(points)):
            raise forms.ValidationError("The points rise, each once.")
        if len(points) > MOST_POINTS:
            raise forms.ValidationError(f"At most {MOST_POINTS} points.")
        return points

    def clean_stops(self) -> list[str]:
        return [line.strip() for line in self.cleaned_data["stops"].splitlines() if line.strip()]

    def refuse(self, refusal: Refused) -> None:
        self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


class ProcedureForm(FactsForm):
    """The next version of a procedure."""

    based_on = forms.IntegerField(widget=forms.HiddenInput)


class NewProcedureForm(FactsForm):
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
        label="Why it is needed", max_length=300, help_text="It stands beside version 1."
    )
    field_order = ("name", "key", "principles", "shape", "way")

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        if not told.get("key") and "key" not in self.errors and told.get("name"):
            told["key"] = slugify(told["name"])[:40].strip("-")
            if not told["key"]:
                self.add_error("key", "No key can be made of this name; type one of letters.")
        return told


class StepForm(forms.Form):
    place = forms.DecimalField(
        label="Place",
        help_text="2.5 puts it between 2 and 3.",
        error_messages={"required": "Say where it stands: 2.5 puts it between 2 and 3."},
    )
    key = forms.CharField(
        label="Key",
        max_length=12,
        required=False,
        help_text="A site's wording finds the step by it.",
    )
    kind = forms.ChoiceField(label="Kind", choices=ProcedureStep.Kind.choices, initial="prepare")
    stage = forms.ChoiceField(
        label="Reads", choices=[("", "–"), *ProcedureStep.Stage.choices], required=False
    )
    text = forms.CharField(
        label="Text",
        widget=forms.Textarea({"rows": 3}),
        error_messages={"required": "A step needs its text; to leave the step out, tick Remove."},
    )
    settle_seconds = forms.IntegerField(
        label="Settle",
        min_value=0,
        max_value=7200,
        required=False,
        help_text="Empty: as the procedure says.",
        widget=forms.NumberInput({"data-unit": "s"}),
    )
    asks = forms.CharField(
        label="Asks for",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text="One line each: label | kind | unit | needed. Kinds: text, number, time, tick, "
        "photo, standards.",
    )
    stop = forms.CharField(label="Stop and call somebody when", max_length=300, required=False)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        # One of the empty steps, which may stay so.
        self.fields["text"].required = bool(self.initial.get("text"))

    def clean_asks(self) -> list[dict[str, Any]]:
        return [_ask(line) for line in self.cleaned_data["asks"].splitlines() if line.strip()]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        typed = (told.get("key"), told.get("asks"), told.get("stop"))
        if not told.get("text") and "text" not in self.errors and any(typed):
            self.add_error("text", self.fields["text"].error_messages["required"])
        return told

    def has_changed(self) -> bool:
        """Where only a place, a kind or a stage is chosen there is no step yet."""
        return bool({"key", "text", "settle_seconds", "asks", "stop"} & set(self.changed_data))

    @property
    def title(self) -> str:
        """The step in a line, as it stands in the form now."""
        place, kind, stage, text = (
            str(self[name].value() or "") for name in ("place", "kind", "stage", "text")
        )
        number = f"{place}. " if place else ""
        sort = f"{kind}, {stage}" if stage else kind
        if not text.strip() and self.initial.get("text"):
            return f"{number}{sort}: no text"
        if not text.strip():
            return f"{number}A new step{f': {sort}' if place else ''}"
        return f"{number}{sort}: {Truncator(text).chars(70)}"


class _Steps(forms.BaseFormSet):
    def add_fields(self, form: forms.Form, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["DELETE"].label = "Remove this step"

    @property
    def wrong(self) -> int:
        """How many of the steps that were sent need a change."""
        return sum(bool(errors) for errors in self.errors) if self.is_bound else 0


Steps = forms.formset_factory(
    StepForm, formset=_Steps, extra=FREE, can_delete=True, max_num=MOST_STEPS, validate_max=True
)


def with_room(data: QueryDict | None) -> QueryDict | None:
    """What was sent, and empty steps to go on with where all are filled."""
    if data is None:
        return None
    total = data.get("step-TOTAL_FORMS", "")
    if not total.isdigit() or int(total) > MOST_STEPS:
        return data
    free = sum(not data.get(f"step-{n}-text", "").strip() for n in range(int(total)))
    roomy = data.copy()
    roomy["step-TOTAL_FORMS"] = str(min(int(total) + max(FREE - free, 0), MOST_STEPS))
    return roomy


def _ask(line: str) -> dict[str, Any]:
    label, kind, unit, needed = ([part.strip() for part in line.split("|")] + [""] * 3)[:4]
    kind = kind or "text"
    if not label or kind not in ASKS:
        raise forms.ValidationError(f"“{line}”: a label, then one of {', '.join(ASKS)}.")
    name = slugify(label).replace("-", "_") or "answer"
    return {"name": name, "label": label, "kind": kind, "unit": unit, "needed": bool(needed)}


def _line(ask: dict[str, Any]) -> str:
    parts = [ask["label"], ask["kind"], ask["unit"], "needed" if ask["needed"] else ""]
    return " | ".join(parts).rstrip(" |")


def filled_from(version: ProcedureVersion) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What stands in the forms at first: the version as it is."""
    facts = {
        "based_on": version.number,
        "way": version.way,
        "up_and_down": version.up_and_down,
        "percents": ", ".join(f"{p.normalize():f}" for p in version.percents),
        "settle_seconds": version.settle_seconds,
        "adjusts": version.adjusts,
        "stops": "\n".join(version.stops),
    }
    return facts, _rows(version.steps.all())


def filled_from_shared(shared: Shared) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What stands in the forms of a procedure that begins from none: what all share, and room
    between.
    """
    facts = {
        "shape": Shape.POINTS,
        "percents": "0, 25, 50, 75, 100",
        "up_and_down": True,
        "settle_seconds": 30,
        "stops": "\n".join(shared.stops),
    }
    rows = _rows(
        [*shared.before, *(Step(kind, "", stage=stage) for kind, stage in ROOM), *shared.after]
    )
    return facts, rows


def _rows(steps: Iterable[Step | ProcedureStep]) -> list[dict[str, Any]]:
    return [
        {
            "place": number,
            "key": step.key,
            "kind": step.kind,
            "stage": step.stage,
            "text": step.text,
            "settle_seconds": step.settle_seconds,
            "asks": "\n".join(map(_line, step.asks)),
            "stop": step.stop,
        }
        for number, step in enumerate(steps, 1)
    ]


def steps_of(forms_: Any, before: Iterable[Step | ProcedureStep]) -> list[Step]:
    """The steps in their new order; an answer keeps its name where its label stays."""
    names = {(s.key, a["label"]): a["name"] for s in before for a in s.asks}
    typed = [
        f.cleaned_data
        for f in forms_
        if f.cleaned_data.get("text", "").strip() and not f.cleaned_data.get("DELETE")
    ]
    typed.sort(key=lambda row: row["place"])
    return [
        Step(
            row["kind"],
            row["text"].strip(),
            row["key"],
            row["stage"],
            row["settle_seconds"],
            [
                ask | {"name": names.get((row["key"], ask["label"]), ask["name"])}
                for ask in row["asks"]
            ],
            row["stop"].strip(),
        )
        for row in typed
    ]


DEVICES_HINT = "Makers or models as in the register, with commas between several; empty for all."


class WordingForm(forms.Form):
    site = forms.ChoiceField(label="Site")
    step_key = forms.ChoiceField(label="Step")
    devices = forms.CharField(
        label="For devices",
        max_length=160,
        required=False,
        help_text=DEVICES_HINT,
    )
    text = forms.CharField(
        label="Wording",
        widget=forms.Textarea({"rows": 3}),
        help_text="For example: the button held for about 3 s enters and leaves adjustment; the "
        "lamp blinks meanwhile.",
    )

    def __init__(
        self, *args: Any, sites: list[Site], version: ProcedureVersion, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        self.fields["site"].choices = [(site.pk, site.name) for site in sites]  # type: ignore[attr-defined]
        self.fields["step_key"].choices = _steps_with_key(version)  # type: ignore[attr-defined]

    def refuse(self, refusal: Refused) -> None:
        self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


class WordingChangeForm(RuleForm):
    """A wording that stands; it stays with its site."""

    step_key = forms.ChoiceField(label="Step")

    class Meta:
        model = SiteWording
        fields = ("step_key", "devices", "text")
        formfield_callback = field_for

    def __init__(self, *args: Any, version: ProcedureVersion, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["step_key"].choices = _steps_with_key(version)  # type: ignore[attr-defined]
        self.fields["devices"].label = "For devices"
        self.fields["devices"].help_text = DEVICES_HINT


def _steps_with_key(version: ProcedureVersion) -> list[tuple[str, str]]:
    return [
        (s.key, f"{s.key}: {Truncator(s.text).chars(50)}") for s in version.steps.all() if s.key
    ]
