"""Filtering the list of records."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.db.models import Q, QuerySet

from calibration.records.models import Calibration
from plant.people.models import Person
from plant.sites.models import Site

VERDICTS = {
    "found-fail": ("as found: fail", Q(found_verdict="fail")),
    "found-missing": ("as found: missing", Q(found_verdict="")),
    "left-fail": ("as left: fail", Q(left_verdict="fail")),
    "doubt": ("inconclusive", Q(found_verdict="inconclusive") | Q(left_verdict="inconclusive")),
    "pass": ("as found: pass", Q(found_verdict="pass")),
}


class RecordFilter(forms.Form):
    """What a person looks for. A field that makes no sense is said so, and filters nothing."""

    q = forms.CharField(label="Tag, tank or serial number", required=False, max_length=60)
    state = forms.ChoiceField(
        label="State", required=False, choices=[("", "any"), *Calibration.State.choices]
    )
    verdict = forms.ChoiceField(
        label="Verdict",
        required=False,
        choices=[("", "any"), *((k, v[0]) for k, v in VERDICTS.items())],
    )
    site = forms.ModelChoiceField(
        label="Site", required=False, queryset=Site.objects.none(), empty_label="all mine"
    )
    since = forms.DateField(label="From", required=False, widget=forms.DateInput({"type": "date"}))
    until = forms.DateField(label="Until", required=False, widget=forms.DateInput({"type": "date"}))
    standard = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: Mapping[str, Any], *, person: Person) -> None:
        super().__init__(data)
        sites = person.site_ids("see")
        if len(sites) > 1:
            self.fields["site"].queryset = Site.objects.filter(pk__in=sites)  # type: ignore[attr-defined]
        else:
            del self.fields["site"]

    def narrow(self, records: QuerySet[Calibration]) -> QuerySet[Calibration]:
        self.is_valid()
        typed = {name: value for name, value in self.cleaned_data.items() if value}
        for name, condition in {
            "state": lambda v: Q(state=v),
            "site": lambda v: Q(site=v),
            "verdict": lambda v: VERDICTS[v][1],
            "q": lambda v: Q(tag__icontains=v) | Q(tank_name__icontains=v) | Q(serial__icontains=v),
            "since": lambda v: Q(done_on__gte=v),
            "until": lambda v: Q(done_on__lte=v),
            "standard": lambda v: Q(standards_used__standard=v),
        }.items():
            if name in typed:
                records = records.filter(condition(typed[name]))
        return records
