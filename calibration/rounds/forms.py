from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from plant.people.models import Appointment, Person
from plant.people.roles import Role
from plant.sites.models import Site


def technicians_of(site: Site, *, on: dt.date) -> Any:
    """Who may be sent on a round at this site."""
    serving = Appointment.objects.in_force(on).filter(site=site, role=Role.TECHNICIAN)
    return Person.objects.filter(is_active=True, pk__in=serving.values("person")).order_by("name")


class RoundForm(forms.Form):
    name = forms.CharField(label="Name", max_length=80)
    technician = forms.ModelChoiceField(
        label="Technician", queryset=Person.objects.none(), empty_label="choose"
    )
    starts_on = forms.DateField(
        label="First day", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    ends_on = forms.DateField(
        label="Last day", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    note = forms.CharField(
        label="Note",
        max_length=2000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text="Printed on the job sheets: permits, keys, whom to call.",
    )

    def __init__(self, *args: Any, site: Site, on: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        technician: Any = self.fields["technician"]
        technician.queryset = technicians_of(site, on=on)


class AddStopsForm(forms.Form):
    """Tags typed with commas or line breaks between them; ticked neighbours come beside them as
    ``point``.
    """

    tags = forms.CharField(
        label="Tags",
        max_length=2000,
        required=False,
        help_text="Several with commas between them.",
    )

    def typed_tags(self) -> list[str]:
        text = self.cleaned_data["tags"].replace("\n", ",").replace(";", ",")
        return [tag.strip() for tag in text.split(",") if tag.strip()]
