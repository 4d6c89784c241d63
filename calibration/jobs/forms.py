from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from plant.people.models import Appointment, Person
from plant.people.roles import Role
from plant.sites.models import Site


def technicians_of(site: Site, *, on: dt.date) -> Any:
    """Who may do jobs at this site on that day."""
    serving = Appointment.objects.in_force(on).filter(site=site, role=Role.TECHNICIAN)
    return Person.objects.filter(is_active=True, pk__in=serving.values("person")).order_by("name")


class CancelForm(forms.Form):
    why = forms.CharField(label="Reason", max_length=200)


class HandOverForm(forms.Form):
    """Another technician for an open job, and why."""

    technician = forms.ModelChoiceField(
        label="Technician", queryset=Person.objects.none(), empty_label="choose"
    )
    why = forms.CharField(label="Reason", max_length=200, required=False)

    def __init__(self, *args: Any, site: Site, on: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        technician: Any = self.fields["technician"]
        technician.queryset = technicians_of(site, on=on)
