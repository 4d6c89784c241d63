"""Filtering the list of records."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet

from calibration.records.models import Calibration
from plant.pages.filters import day_filter
from plant.people.models import Person
from plant.sites.models import Site

VERDICTS = {
    "found-fail": ("as found: fail", Q(found_verdict="fail")),
    "found-missing": ("as found: missing", Q(found_verdict="")),
    "left-fail": ("as left: fail", Q(left_verdict="fail")),
    "doubt": ("inconclusive", Q(found_verdict="inconclusive") | Q(left_verdict="inconclusive")),
    "pass": ("as found: pass", Q(found_verdict="pass")),
}


class IdFilter(filters.Filter):
    field_class = forms.IntegerField


class RecordFilter(filters.FilterSet):
    """What a person looks for. A field that is not understood says so, and filters nothing."""

    q = filters.CharFilter(method="search", label="Tag, tank or serial number", max_length=60)
    state = filters.ChoiceFilter(
        label="State", choices=Calibration.State.choices, empty_label="any"
    )
    verdict = filters.ChoiceFilter(
        method="with_verdict",
        label="Verdict",
        choices=[(key, text) for key, (text, _) in VERDICTS.items()],
        empty_label="any",
    )
    site = filters.ChoiceFilter(
        field_name="site_id", label="Site", choices=[], empty_label="all mine"
    )
    since = day_filter("From", field_name="done_on", lookup_expr="gte")
    until = day_filter("Until", field_name="done_on", lookup_expr="lte")
    standard = IdFilter(field_name="standards_used__standard", widget=forms.HiddenInput)

    class Meta:
        model = Calibration
        fields: list[str] = []

    def __init__(
        self, data: Mapping[str, Any], queryset: QuerySet[Calibration], *, person: Person
    ) -> None:
        super().__init__(data, queryset)
        sites = person.site_ids("see")
        if len(sites) > 1:
            named = Site.objects.filter(pk__in=sites).values_list("pk", "name")
            self.filters["site"].extra["choices"] = list(named)
        else:
            del self.filters["site"]

    def search(self, records: QuerySet, name: str, value: str) -> QuerySet:
        return records.filter(
            Q(tag__icontains=value) | Q(tank_name__icontains=value) | Q(serial__icontains=value)
        )

    def with_verdict(self, records: QuerySet, name: str, value: str) -> QuerySet:
        return records.filter(VERDICTS[value][1])
