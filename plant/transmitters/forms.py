"""Forms of transmitters and their installations."""

from __future__ import annotations

from typing import Any

from django import forms

from plant.pages.forms import NamedRow, SiteForm, day_field, described_by
from plant.points.models import MeasuringPoint
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Transmitter

Status = Transmitter.Status
GOES = [
    ("", "choose"),
    *((s.value, s.label) for s in (Status.SPARE, Status.IN_REPAIR, Status.SCRAPPED)),
]


class TransmitterForm(SiteForm):
    class Meta:
        model = Transmitter
        fields = TRANSMITTER.fields
        formfield_callback = described_by(TRANSMITTER)
        help_texts = {"status": "In service follows from its installation."}

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        if not self.instance.pk:
            # A new one is a spare until it is installed.
            del self.fields["status"]


class RemoveForm(forms.Form):
    """Removes the transmitter from a point; ``seen`` is the installation the person saw."""

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    goes = forms.ChoiceField(choices=GOES, label="Where does the removed one go?")
    on = day_field("Day")
    why = forms.CharField(
        label="Why", required=False, max_length=300, help_text="Needed for a day that is past."
    )


class InstallForm(forms.Form):
    """Installs a transmitter at a free point. ``transmitter`` is typed by its serial number."""

    transmitter = NamedRow(
        offer="spares",
        label="Transmitter to install",
        max_length=60,
        help_text="Its serial number, or part of it.",
    )
    on = day_field("Day")
    note = forms.CharField(label="Note", required=False, max_length=200)
    why = forms.CharField(
        label="Why", required=False, max_length=300, help_text="Needed for a day that is past."
    )

    def __init__(self, *args: Any, point: MeasuringPoint, **more: Any) -> None:
        super().__init__(*args, **more)
        self.point = point

    def clean_transmitter(self) -> Transmitter:
        typed = self.cleaned_data["transmitter"].strip()
        rows = Transmitter.objects.filter(site_id=self.point.site_id)
        exact = list(rows.filter(serial__iexact=typed)[:2])
        fitting = exact or list(rows.filter(serial__icontains=typed)[:2])
        if not fitting:
            raise forms.ValidationError(
                f"{self.point.site} has no transmitter “{typed}”. Check the name plate, or add "
                "the transmitter first."
            )
        if len(fitting) > 1:
            raise forms.ValidationError(
                f"More than one transmitter fits “{typed}”: {fitting[0]} and {fitting[1]}."
            )
        return fitting[0]


class SwapForm(InstallForm):
    """Puts another transmitter in the place of the present one."""

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    goes = forms.ChoiceField(choices=GOES, label="Where does the removed one go?")
    field_order = ("seen", "transmitter", "goes", "on", "note", "why")
