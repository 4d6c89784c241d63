"""Reference standards, their certificates, and taking one out of use."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db import models
from django.utils import timezone

from calibration.standards.columns import CERTIFICATE, STANDARD
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.pages.digits import DigitsField
from plant.pages.forms import day_field
from plant.people.models import Appointment, Person
from plant.people.permissions import may
from plant.sites.models import Site

DAY = {"type": "date"}
CERTIFICATE_NUMBERS = tuple(
    name for name in CERTIFICATE.fields if isinstance(CERTIFICATE.field(name), models.DecimalField)
)
UNITS = ["mA", "V", "mV", "Ω", "mm", "m", "kPa", "bar", "mbar", "pF", "°C", "K", "kg/m³"]
UNITS += ["kg", "g", "%"]


class StandardForm(forms.ModelForm):
    class Meta:
        model = ReferenceStandard
        fields = ("site", *STANDARD.fields)
        widgets = {
            "note": forms.Textarea({"rows": 3}),
            "interval_months": forms.NumberInput({"data-unit": "months", "min": 1, "max": 120}),
        }

    def __init__(self, *args: Any, person: Person, **more: Any) -> None:
        """A new standard belongs to a site where ``person`` may add one; later it stays there."""
        super().__init__(*args, **more)
        own = [self.instance.site_id] if self.instance.pk else person.site_ids("add standard")
        technicians = Appointment.objects.in_force(timezone.now().date()).filter(
            site__in=own, role="technician"
        )
        holders = Person.objects.filter(is_active=True, appointments__in=technicians).distinct()
        self.fields["holder"].queryset = holders  # type: ignore[attr-defined]
        nobody = "nobody: shared by the site"
        self.fields["holder"].empty_label = nobody  # type: ignore[attr-defined]
        if self.instance.pk:
            del self.fields["site"]
            return
        sites = Site.objects.filter(pk__in=person.site_ids("add standard"))
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        if len(sites) == 1:
            self.fields["site"].initial = sites[0]

    def clean(self) -> dict[str, Any]:
        """A kit is carried at the standard's own site."""
        typed = super().clean() or self.cleaned_data
        holder, site = typed.get("holder"), typed.get("site")
        if site is None and self.instance.site_id:
            site = self.instance.site
        if holder and site and not may(holder, "calibrate", site.pk):
            self.add_error("holder", f"{holder} is not a technician at {site}; choose one who is.")
        return typed


class CertificateForm(forms.ModelForm):
    file = forms.FileField(
        label="Scan or PDF",
        required=False,
        help_text="PDF, PNG or JPEG, up to 10 MB. It can only be downloaded, never changed.",
    )

    class Meta:
        model = StandardCertificate
        fields = CERTIFICATE.fields
        widgets = {
            "issued_on": forms.DateInput(DAY),
            "valid_until": forms.DateInput(DAY),
            "unit": forms.Select(choices=[(u, u) for u in UNITS]),
        }

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        for name in CERTIFICATE_NUMBERS:
            column = StandardCertificate._meta.get_field(name)
            self.fields[name] = DigitsField(
                label=_label(column),
                required=False,
                help_text=column.help_text,  # type: ignore[union-attr]
                max_digits=column.max_digits,  # type: ignore[union-attr]
                decimal_places=column.decimal_places,  # type: ignore[union-attr]
            )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or self.cleaned_data
        low, high = typed.get("range_low"), typed.get("range_high")
        if low is not None and high is not None and low >= high:
            self.add_error("range_high", "The range must end above where it begins.")
        return typed


def _label(column: Any) -> str:
    """The column's words with a capital first letter; U and k stay as they are."""
    words = str(column.verbose_name)
    return words[:1].upper() + words[1:]


class WithdrawForm(forms.Form):
    on = day_field("From", help_text="From this day on it covers nothing.")
    why = forms.CharField(label="Why", max_length=200, widget=forms.Textarea({"rows": 2}))
