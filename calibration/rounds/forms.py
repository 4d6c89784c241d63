from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from calibration.jobs.forms import technicians_of
from plant.pages.forms import day_field
from plant.people.models import Person
from plant.sites.models import Site


class RoundForm(forms.Form):
    name = forms.CharField(label="Name", max_length=80)
    technician = forms.ModelChoiceField(
        label="Technician", queryset=Person.objects.none(), empty_label="choose"
    )
    starts_on = day_field("First day")
    ends_on = day_field("Last day")
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
