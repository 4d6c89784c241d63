from __future__ import annotations

from django import forms

from calibration.drift.models import JumpQuestion


class AnswerForm(forms.Form):
    cause = forms.ChoiceField(label="Cause", choices=[("", "Choose"), *JumpQuestion.Cause.choices])
    text = forms.CharField(
        label="How it is known",
        max_length=4000,
        widget=forms.Textarea({"rows": 4}),
        help_text="Work order, photo, talk with the crew, a second reading: whatever shows it.",
    )
