from __future__ import annotations

from django import forms


class AssessmentForm(forms.Form):
    text = forms.CharField(
        label="Assessment",
        max_length=10000,
        widget=forms.Textarea({"rows": 6}),
        help_text="What the readings in doubt were used for, how far they were wrong, what "
        "follows from it.",
    )
