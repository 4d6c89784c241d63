"""The parts of the calibration form: head, the rows of three stages, adjustments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from calibration.procedures.models import InputWay
from calibration.records.entry import AdjustmentEntry, ReadingEntry, ReadingWithoutLevel
from calibration.records.judging import Range
from calibration.records.models import Adjustment
from calibration.records.prefill import STAGES
from calibration.records.reading_forms import ReadingForm, StandingForm, row_figures
from plant.pages.digits import DigitsField
from plant.pages.forms import day_field

Data = Mapping[str, Any] | None
MOST_ROWS = 60


class HeadForm(forms.Form):
    """Who, when, how, with what; and what belongs to the whole record."""

    submission = forms.UUIDField(widget=forms.HiddenInput)
    done_on = day_field("Day")
    transmitter = forms.ChoiceField(
        label="Transmitter",
        required=False,
        help_text="The one that was calibrated: it was changed here not long ago.",
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


class ReadingRows:
    """The rows of one stage. Their number comes back with them, so that a changed procedure loses
    none.

    No formset of Django's: where the number does not come back as it should, a formset has no forms
    and shows nothing of what was typed; here the planned rows still take it.
    """

    def __init__(self, key: str, start: Sequence[dict[str, Any]], data: Data = None) -> None:
        self.key, self.stage, self.errors = key, STAGES[key], []  # type: tuple[str, str, list[str]]
        count = _count(data.get(f"{key}-rows"), len(start)) if data is not None else len(start)
        form = StandingForm if self.is_standing else ReadingForm
        self.forms: list[ReadingForm] = [
            form(data, prefix=f"{key}-{n}", initial=start[n] if n < len(start) else {})
            for n in range(count)
        ]

    @property
    def is_standing(self) -> bool:
        return self.key == "stands"

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
        """What was read at a known level."""
        return [form.entry(self.stage, n) for n, form in enumerate(self.read, 1) if form.has_level]

    def without_level(self) -> list[ReadingWithoutLevel]:
        return [
            form.entry_without_level(n)
            for n, form in enumerate(self.read, 1)
            if isinstance(form, StandingForm) and not form.has_level
        ]

    def compute(self, against: Range) -> None:
        for form in self.forms:
            form.figures = row_figures(form, against)  # type: ignore[attr-defined]

    @property
    def has_entries(self) -> bool:
        """Something was typed here: the stage is shown open."""
        names = ("observed", "indication")
        return any(form[name].value() for form in self.forms for name in names) or bool(self.errors)

    @property
    def reasons(self) -> list[forms.BoundField]:
        """The fields for the reason why no level is known."""
        return [form["no_level_reason"] for form in self.forms if isinstance(form, StandingForm)]


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


def _count(text: Any, planned: int) -> int:
    return (
        int(text)
        if isinstance(text, str) and text.isdecimal() and 0 < int(text) <= MOST_ROWS
        else planned
    )
