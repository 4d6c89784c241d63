from __future__ import annotations

from django import forms

from plant.pages.forms import day_field


class KeepForm(forms.Form):
    """Keep a work without a record: what was signed stays readable, nothing counts from it."""

    why = forms.CharField(
        label="Why",
        max_length=2000,
        widget=forms.Textarea({"rows": 3}),
        help_text="What you found out, and whom you asked.",
    )


class StoreForm(KeepForm):
    """Store it as the record after all."""

    done_on = day_field("Day of calibration")

    field_order = ("done_on", "why")
