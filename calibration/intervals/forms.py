from __future__ import annotations

from django import forms

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
