from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from calibration.intervals.reads import WAYS
from plant.points.models import MeasuringPoint


class IntervalForm(forms.Form):
    months = forms.IntegerField(
        label="Recalibration interval",
        min_value=1,
        max_value=120,
        widget=forms.NumberInput({"data-unit": "months"}),
    )
    grace_days = forms.IntegerField(
        label="Grace",
        min_value=0,
        max_value=365,
        widget=forms.NumberInput({"data-unit": "days"}),
        help_text="Done within this many days of its due date, the cycle keeps its anchor.",
    )
    why = forms.CharField(label="Why", widget=forms.Textarea({"rows": 3}))

    @classmethod
    def of(cls, point: MeasuringPoint) -> IntervalForm:
        return cls(initial={"months": point.interval_months, "grace_days": point.grace_days})


class ProposalFilter(forms.Form):
    """What the list of proposals is narrowed to, read from its address. The page draws the controls
    itself.
    """

    site = forms.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    way = forms.ChoiceField(choices=list(WAYS.items()), required=False)
    waits = forms.ChoiceField(choices=[("approver", "for an approver")], required=False)


class DeclineForm(forms.Form):
    why = forms.CharField(
        label="Why",
        max_length=2000,
        widget=forms.Textarea({"rows": 3}),
        help_text="It is not proposed again before there is a later record.",
    )


class ChosenForm(forms.Form):
    """Proposals ticked on a page."""

    p = forms.TypedMultipleChoiceField(coerce=int, choices=())

    def __init__(self, data: Mapping[str, Any] | None, *, known: list[int]) -> None:
        super().__init__(data)
        self.fields["p"].choices = [(pk, pk) for pk in known]  # type: ignore[attr-defined]
        self.fields["p"].error_messages["required"] = "Tick at least one."
