from __future__ import annotations

from django import forms

from plant.pages.forms import day_field


class DeferForm(forms.Form):
    until = day_field("Put off until")
    reason = forms.CharField(
        label="Reason",
        max_length=2000,
        widget=forms.Textarea({"rows": 4}),
        help_text="What stands in the way, and why the reading can be trusted until then.",
    )


class DecideForm(forms.Form):
    """Two buttons send ``granted`` yes or no."""

    granted = forms.TypedChoiceField(
        choices=[("yes", "grant"), ("no", "refuse")], coerce=lambda word: word == "yes"
    )
    note = forms.CharField(
        label="Note",
        max_length=2000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text="Needed for a refusal.",
    )
