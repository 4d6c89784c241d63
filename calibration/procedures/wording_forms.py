"""The forms of a site's own wording beside a step."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import Truncator

from calibration.procedures.models import ProcedureVersion, SiteWording
from plant.pages.forms import RuleForm, field_for
from plant.refusals import Refused
from plant.sites.models import Site

DEVICES_HINT = "Makers or models as in the register, with commas between several; empty for all."


class WordingForm(forms.Form):
    site = forms.ChoiceField(label="Site")
    step_key = forms.ChoiceField(label="Step")
    devices = forms.CharField(
        label="For devices",
        max_length=160,
        required=False,
        help_text=DEVICES_HINT,
    )
    text = forms.CharField(
        label="Wording",
        widget=forms.Textarea({"rows": 3}),
        help_text="For example: the button held for about 3 s enters and leaves adjustment; the "
        "lamp blinks meanwhile.",
    )

    def __init__(
        self, *args: Any, sites: list[Site], version: ProcedureVersion, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        choices = [(site.pk, site.name) for site in sites]
        self.fields["site"].choices = choices  # type: ignore[attr-defined]
        self.fields["step_key"].choices = _steps_with_key(version)  # type: ignore[attr-defined]

    def refuse(self, refusal: Refused) -> None:
        self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


class WordingChangeForm(RuleForm):
    """A wording that exists; it stays with its site."""

    step_key = forms.ChoiceField(label="Step")

    class Meta:
        model = SiteWording
        fields = ("step_key", "devices", "text")
        formfield_callback = field_for

    def __init__(self, *args: Any, version: ProcedureVersion, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["step_key"].choices = _steps_with_key(version)  # type: ignore[attr-defined]
        self.fields["devices"].label = "For devices"
        self.fields["devices"].help_text = DEVICES_HINT


def _steps_with_key(version: ProcedureVersion) -> list[tuple[str, str]]:
    return [
        (s.key, f"{s.key}: {Truncator(s.text).chars(50)}") for s in version.steps.all() if s.key
    ]
