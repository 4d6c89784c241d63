"""A reading as it is typed, and what the page says beside it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
from django import forms

from calibration.records.bands import judged_without_level
from calibration.records.entry import ReadingEntry, ReadingWithoutLevel
from calibration.records.judging import Range, judge
from plant.level.signals import SIGNALS, expected_at, percent_at
from plant.pages.digits import DigitsField
from plant.quantities import number, percent, quantity


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

    level_missing = "Give the applied value of this reading."

    def clean(self) -> dict[str, Any]:
        if self.is_read and not self.has_level and "applied" not in self.errors:
            self.add_error("applied", self.level_missing)
        return self.cleaned_data

    @property
    def has_level(self) -> bool:
        return self.cleaned_data.get("applied") is not None

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


class StandingForm(ReadingForm):
    """As it stands, the reason why no level is known will do instead of the level."""

    no_level_reason = forms.CharField(
        label="Level not known, because",
        max_length=300,
        required=False,
        widget=forms.TextInput,
        help_text="Only where no level can be had: on the bench, in a storm, without a hatch. Then "
        "only a failure is judged, and no error.",
    )

    level_missing = "Give the level at which it was read, or the reason why none is known."

    def clean(self) -> dict[str, Any]:
        if not self.cleaned_data.get("no_level_reason"):
            return super().clean()
        if self.has_level:
            self.add_error(
                "no_level_reason", "Give either the level or the reason why none is known."
            )
        if not self.is_read:
            self.add_error("observed", "Give what the meter or the display reads.")
        return self.cleaned_data

    def entry_without_level(self, sequence: int) -> ReadingWithoutLevel:
        typed = self.cleaned_data
        return ReadingWithoutLevel(
            sequence=sequence,
            observed=typed.get("observed"),
            indication=typed.get("indication"),
            why=typed["no_level_reason"],
        )


class RowFigures(NamedTuple):
    """What the page says beside a row, by the server's own arithmetic."""

    percent: str = ""
    expected: str = ""
    error: str = ""
    band: str = ""
    verdict: str = ""


def row_figures(form: ReadingForm, against: Range) -> RowFigures:
    applied, observed, indication = (
        _number(form, name) for name in ("applied", "observed", "indication")
    )
    if applied is None:
        return _without_level(form, observed, indication, against)
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


def _without_level(
    form: ReadingForm, observed: Decimal | None, indication: Decimal | None, against: Range
) -> RowFigures:
    why = isinstance(form, StandingForm) and (form["no_level_reason"].value() or "").strip()
    if not why or (observed is None and indication is None):
        return RowFigures()
    judged = judged_without_level(ReadingWithoutLevel(1, observed, indication, why), against.signal)
    return RowFigures(band=judged.band, verdict=judged.verdict)


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
