"""The form of a procedure's next version: its facts, and its steps one below the other. Works without a script."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.text import slugify

from calibration.models import Adjustment, InputWay, ProcedureStep, ProcedureVersion
from calibration.operations.procedures import Step
from plant.models import Site
from plant.refusals import Refused

ASKS = ("text", "number", "time", "tick", "photo", "standards")
MOST_STEPS = 80
# A little beyond both ends: 3.8 and 20.5 mA are -1.25 and 103.125 % (NE 43, from memory).
LEAST, MOST, MOST_POINTS = -25, 125, 25
FREE = 3  # empty steps at the end, for new ones


class ProcedureForm(forms.Form):
    based_on = forms.IntegerField(widget=forms.HiddenInput)
    way = forms.ChoiceField(label="Input applied by", choices=InputWay.choices)
    percents = forms.CharField(
        label="Test points, % of span", help_text="Rising, with commas: 0, 25, 50, 75, 100."
    )
    up_and_down = forms.BooleanField(label="Rising, then falling", required=False)
    settle_seconds = forms.IntegerField(
        label="Settle", min_value=0, max_value=7200, widget=forms.NumberInput({"data-unit": "s"})
    )
    adjusts = forms.MultipleChoiceField(
        label="What may be adjusted", choices=Adjustment.Kind.choices, required=False,
        widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip
    stops = forms.CharField(
        label="When to stop and call somebody", required=False, widget=forms.Textarea({"rows": 6}),
        help_text="One line each.",
    )  # fmt: skip
    reason = forms.CharField(
        label="What changes and why", max_length=300, help_text="An auditor will ask."
    )

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


class StepForm(forms.Form):
    place = forms.DecimalField(label="Place", help_text="2.5 puts it between 2 and 3.")
    key = forms.CharField(label="Key", max_length=12, required=False)
    kind = forms.ChoiceField(label="Kind", choices=ProcedureStep.Kind.choices)
    stage = forms.ChoiceField(
        label="Reads", choices=[("", "–"), *ProcedureStep.Stage.choices], required=False
    )
    text = forms.CharField(label="Text", required=False, widget=forms.Textarea({"rows": 3}))
    settle_seconds = forms.IntegerField(
        label="Settle", min_value=0, max_value=7200, required=False, help_text="Empty: as the procedure says.",
        widget=forms.NumberInput({"data-unit": "s"}),
    )  # fmt: skip
    asks = forms.CharField(
        label="Asks for", required=False, widget=forms.Textarea({"rows": 2}),
        help_text="One line each: label | kind | unit | needed. Kinds: text, number, time, tick, photo, standards.",
    )  # fmt: skip
    stop = forms.CharField(label="Stop and call somebody when", max_length=300, required=False)

    def clean_asks(self) -> list[dict[str, Any]]:
        return [_ask(line) for line in self.cleaned_data["asks"].splitlines() if line.strip()]


Steps = forms.formset_factory(StepForm, extra=FREE, can_delete=True, max_num=MOST_STEPS)


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
        "based_on": version.number, "way": version.way, "up_and_down": version.up_and_down,
        "percents": ", ".join(f"{p.normalize():f}" for p in version.percents),
        "settle_seconds": version.settle_seconds, "adjusts": version.adjusts, "stops": "\n".join(version.stops),
    }  # fmt: skip
    steps = [
        {
            "place": step.number, "key": step.key, "kind": step.kind, "stage": step.stage, "text": step.text,
            "settle_seconds": step.settle_seconds, "asks": "\n".join(map(_line, step.asks)), "stop": step.stop,
        }
        for step in version.steps.all()
    ]  # fmt: skip
    return facts, steps


def steps_of(forms_: Any, before: ProcedureVersion) -> list[Step]:
    """The steps in their new order; an answer keeps its name where its label stays."""
    names = {(s.key, a["label"]): a["name"] for s in before.steps.all() for a in s.asks}
    typed = [
        f.cleaned_data
        for f in forms_
        if f.cleaned_data.get("text") and not f.cleaned_data.get("DELETE")
    ]
    typed.sort(key=lambda row: row["place"])
    return [
        Step(
            row["kind"], row["text"].strip(), row["key"], row["stage"], row["settle_seconds"],
            [ask | {"name": names.get((row["key"], ask["label"]), ask["name"])} for ask in row["asks"]],
            row["stop"].strip(),
        )
        for row in typed
    ]  # fmt: skip


class WordingForm(forms.Form):
    site = forms.ChoiceField(label="Site")
    step_key = forms.ChoiceField(label="Step")
    devices = forms.CharField(
        label="For devices", max_length=160, required=False,
        help_text="A maker or model as in the register; empty for all.",
    )  # fmt: skip
    text = forms.CharField(
        label="Wording", widget=forms.Textarea({"rows": 3}),
        help_text="For example: the button held for about 3 s enters and leaves adjustment; the lamp blinks meanwhile.",
    )  # fmt: skip

    def __init__(
        self, *args: Any, sites: list[Site], version: ProcedureVersion, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        steps = [(s.key, f"{s.key}: {s.text[:50]}") for s in version.steps.all() if s.key]
        self.fields["site"].choices = [(site.pk, site.name) for site in sites]  # type: ignore[attr-defined]
        self.fields["step_key"].choices = steps  # type: ignore[attr-defined]

    def refuse(self, refusal: Refused) -> None:
        self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))
