from __future__ import annotations

from django import forms


class ClosingForm(forms.Form):
    why = forms.CharField(
        label="Why the reading can be relied on",
        max_length=2000,
        widget=forms.Textarea({"rows": 4}),
    )
