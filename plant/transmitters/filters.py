"""The filter of the list of transmitters."""

from __future__ import annotations

import django_filters as filters
from django.db.models import Q

from plant.pages.filters import PlacedFilter
from plant.transmitters.models import Installation, Principle, Transmitter


class TransmitterFilter(PlacedFilter):
    principle = filters.ChoiceFilter(
        label="Principle", empty_label="any", choices=Principle.choices
    )
    status = filters.ChoiceFilter(
        label="Status", empty_label="any", choices=Transmitter.Status.choices
    )

    class Meta:
        model = Transmitter
        fields: list[str] = []

    def found_by(self, word: str) -> Q:
        present = Installation.objects.filter(removed_on=None, point__tag__icontains=word)
        named = Q(serial__icontains=word) | Q(maker__icontains=word) | Q(model__icontains=word)
        return named | Q(pk__in=present.values("transmitter"))
