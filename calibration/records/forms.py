"""The parts of the calibration form: head, readings of three stages, adjustments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
from django import forms

from calibration.procedures.models import InputWay
from calibration.records.entry import AdjustmentEntry, ReadingEntry
from calibration.records.judging import Range, judge
from calibration.records.models import Adjustment
from calibration.records.prefill import STAGES
from plant.level.signals import SIGNALS, expected_at, percent_at
from plant.pages.digits import DigitsField
from plant.quantities import number, percent, quantity

Data = Mapping[str, Any] | None
MOST_ROWS = 60


class HeadForm(forms.Form):
    """Who, when, how, with what; and what belongs to the whole record."""

    submission = forms.UUIDField(widget=forms.HiddenInput)
    done_on = forms.DateField(
        label="Day", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    way = forms.ChoiceField(label="Input applied by", choices=InputWay)
    ambient_c = DigitsField(
        label="Ambient", max_digits=5, decimal_places=1, unit="°C", required=False
    )
    product_c = DigitsField(
        label="Product", max_digits=5, decimal_places=1, unit="°C", required=False
    )
    standards = forms.MultipleChoiceField(
        label="Reference standards",
        error_messages={
            "required": "Tick at least one standard; without it the result is not traceable."
        },
    )
    cautions_read = forms.BooleanField(
        label="I have read these cautions and follow them, and the site's permits and rules "
        "before them.",
        error_messages={"required": "Read the cautions, follow them, and tick here."},
    )
    no_as_found_reason = forms.CharField(
        label="Why as found is missing or incomplete",
        max_length=300,
        required=False,
        widget=forms.TextInput,
        help_text="Only when it could not be read. As found cannot be made up later: drift is "
        "lost with it.",
    )
    note = forms.CharField(
        label="Note", max_length=4000, required=False, widget=forms.Textarea({"rows": 3})
    )


class AmendmentHeadForm(HeadForm):
    reason = forms.CharField(
        label="Why the record is amended",
        max_length=2000,
        widget=forms.Textarea({"rows": 3}),
        help_text="What was wrong and how you know. The earlier record stays readable beside this "
        "one.",
    )


class ReadingForm(forms.Form):
    applied = DigitsField(required=False, max_digits=14, decimal_places=5)
    observed = DigitsField(required=False, max_digits=10, decimal_places=5)
    indication = DigitsField(required=False, max_digits=14, decimal_places=5)
    way_up = forms.ChoiceField(
        choices=[("rising", "rising"), ("falling", "falling")],
        widget=forms.HiddenInput,
        required=False,
    )
    run = forms.IntegerField(min_value=1, max_value=99, widget=forms.HiddenInput, required=False)

    def clean(self) -> dict[str, Any]:
        if (
            self.is_read
            and self.cleaned_data.get("applied") is None
            and "applied" not in self.errors
        ):
            self.add_error("applied", "Give the applied value of this reading.")
        return self.cleaned_data

    @property
    def is_read(self) -> bool:
        return any(self.cleaned_data.get(name) is not None for name in ("observed", "indication"))

    @property
    def is_falling(self) -> bool:
        return self["way_up"].value() == "falling"

    def entry(self, stage: str, sequence: int) -> ReadingEntry:
        typed = self.cleaned_data
        return ReadingEntry(
            stage=stage,
            sequence=sequence,
            applied=typed["applied"],
            observed=typed.get("observed"),
            indication=typed.get("indication"),
            rising=typed.get("way_up") != "falling",
            run=typed.get("run") or 1,
        )


class RowFigures(NamedTuple):
    """What the page says beside a row, by the server's own arithmetic."""

    percent: str = ""
    expected: str = ""
    error: str = ""
    band: str = ""
    verdict: str = ""


class ReadingRows:
    """The rows of one stage. Their number comes back with them, so that a changed procedure loses
    none.

    No formset of Django's: where the number does not come back as it should, a formset has no forms
    and shows nothing of what was typed; here the planned rows still take it.
    """

    def __init__(self, key: str, start: Sequence[dict[str, Any]], data: Data = None) -> None:
        self.key, self.stage, self.errors = key, STAGES[key], []  # type: tuple[str, str, list[str]]
        count = _count(data.get(f"{key}-rows"), len(start)) if data is not None else len(start)
        self.forms = [
            ReadingForm(data, prefix=f"{key}-{n}", initial=start[n] if n < len(start) else {})
            for n in range(count)
        ]

    def is_valid(self) -> bool:
        return all([form.is_valid() for form in self.forms])

    @property
    def read(self) -> list[ReadingForm]:
        return [form for form in self.forms if form.is_read]

    def ask_for_the_rest(self) -> bool:
        """Refuse a stage read in part; a row whose applied value is cleared is left out on
        purpose.
        """
        missing = [
            f for f in self.forms if not f.is_read and f.cleaned_data.get("applied") is not None
        ]
        if not self.read or not missing:
            return True
        for form in missing:
            form.add_error(
                "observed", "Read this one too, or clear its applied value to leave it out."
            )
        return False

    def entry(self) -> list[ReadingEntry]:
        return [form.entry(self.stage, n) for n, form in enumerate(self.read, 1)]

    def compute(self, against: Range) -> None:
        for form in self.forms:
            form.figures = row_figures(form, against)  # type: ignore[attr-defined]

    @property
    def has_entries(self) -> bool:
        """Something was typed here: the stage is shown open."""
        names = ("observed", "indication")
        return any(form[name].value() for form in self.forms for name in names) or bool(self.errors)


class AdjustmentForm(forms.Form):
    """One kind of adjustment; its place on the page says which, so it cannot be forged."""

    done = forms.BooleanField(required=False)
    before = DigitsField(required=False, max_digits=10, decimal_places=5)
    after = DigitsField(required=False, max_digits=10, decimal_places=5)
    note = forms.CharField(required=False, max_length=200)

    def __init__(self, kind: Adjustment.Kind, data: Data, **more: Any) -> None:
        self.kind = kind
        super().__init__(data, prefix=f"adjust-{kind.name.lower()}", **more)

    @property
    def is_done(self) -> bool:
        typed = self.cleaned_data
        return (
            typed["done"]
            or bool(typed["note"])
            or any(typed.get(n) is not None for n in ("before", "after"))
        )

    def entry(self) -> AdjustmentEntry:
        typed = self.cleaned_data
        return AdjustmentEntry(self.kind.value, typed["before"], typed["after"], typed["note"])


def row_figures(form: ReadingForm, against: Range) -> RowFigures:
    applied, observed, indication = (
        _number(form, name) for name in ("applied", "observed", "indication")
    )
    if applied is None:
        return RowFigures()
    ends = {"lower": against.lower, "upper": against.upper}
    seen = np.nan if observed is None else float(observed)
    expected = expected_at(float(applied), seen, **ends, signal=SIGNALS[against.signal])
    # As it will be stored, so that the page and the record round the same digits.
    stored = Decimal(str(round(float(expected), 5)))
    shown = RowFigures(f"{number(percent_at(float(applied), **ends), 0)} %", quantity(stored, "mA"))
    if observed is None and indication is None:
        return shown
    reading = judge([ReadingEntry("as found", 1, applied, observed, indication)], against).readings[
        0
    ]
    error = percent(reading.error_percent, against.tolerance_percent)
    return shown._replace(error=error, band=reading.band, verdict=reading.verdict)


def _number(form: ReadingForm, name: str) -> Decimal | None:
    """A value of the row, typed or prefilled; None where there is none that can be computed
    with.
    """
    if form.is_bound:
        return (
            form.cleaned_data.get(name)
            if form.is_valid() or hasattr(form, "cleaned_data")
            else None
        )
    text = form.initial.get(name)
    return Decimal(text) if text else None


def _count(text: Any, planned: int) -> int:
    return (
        int(text)
        if isinstance(text, str) and text.isdecimal() and 0 < int(text) <= MOST_ROWS
        else planned
    )
