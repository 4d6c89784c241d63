"""Approving and returning a record."""

from __future__ import annotations

from django import forms


class ApprovalForm(forms.Form):
    content_sha256 = forms.CharField(widget=forms.HiddenInput, max_length=64)
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea({"rows": 2})
    )


class ReturnForm(forms.Form):
    reason = forms.CharField(
        label="What is wrong",
        max_length=2000,
        widget=forms.Textarea({"rows": 2}),
        help_text="The technician reads this first when the job comes back.",
    )
