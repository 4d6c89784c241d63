"""Sending a file, and applying what was checked."""

from __future__ import annotations

from typing import Any

from django import forms

from plant.importing.files import LARGEST_FILE, MEGABYTE
from plant.importing.models import ImportBatch
from plant.people.models import Person
from plant.sites.models import Site


class UploadForm(forms.Form):
    site = forms.ModelChoiceField(Site.objects.none(), label="Site", empty_label=None)
    kind = forms.ChoiceField(
        label="What the file holds",
        choices=ImportBatch.FileKind.choices,
        initial=ImportBatch.FileKind.REGISTER,
    )
    file = forms.FileField(
        label="File",
        help_text="CSV or XLSX with the names of the columns in row 1, up to "
        f"{LARGEST_FILE // MEGABYTE} MB. "
        "It is only checked at first; nothing is stored until you apply it.",
        widget=forms.FileInput({"accept": ".csv,.xlsx,text/csv"}),
        allow_empty_file=True,  # the check tells it in its own words
    )

    def __init__(self, *args: Any, person: Person, **more: Any) -> None:
        super().__init__(*args, **more)
        sites = Site.objects.filter(pk__in=person.site_ids("import"))
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]


class ApplyForm(forms.Form):
    why = forms.CharField(
        label="Why the rows in the register change",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text="It is entered in the ledger beside your name.",
    )
