"""The forms of a procedure's steps, one below the other. No script is needed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.text import Truncator, slugify

from calibration.procedures.models import ProcedureStep
from calibration.procedures.version_change import Step

ASKS = ("text", "number", "time", "tick", "photo", "standards")
MOST_STEPS = 80
FREE = 3  # empty steps at the end, for new ones


class StepForm(forms.Form):
    place = forms.DecimalField(
        label="Place",
        help_text="2.5 puts it between 2 and 3.",
        error_messages={"required": "Give its place: 2.5 puts it between 2 and 3."},
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
        typed = super().clean() or self.cleaned_data
        others = (typed.get("key"), typed.get("asks"), typed.get("stop"))
        if not typed.get("text") and "text" not in self.errors and any(others):
            self.add_error("text", self.fields["text"].error_messages["required"])
        return typed

    def has_changed(self) -> bool:
        """Where only a place, a kind or a stage is chosen there is no step yet."""
        return bool({"key", "text", "settle_seconds", "asks", "stop"} & set(self.changed_data))

    @property
    def title(self) -> str:
        """The step in a line, as it is in the form now."""
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


def rows_of(steps: Iterable[Step | ProcedureStep]) -> list[dict[str, Any]]:
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
