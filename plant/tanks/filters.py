"""The filter of the list of tanks."""

from __future__ import annotations

import django_filters as filters
from django.db.models import Q

from plant.pages.filters import PlacedFilter
from plant.tanks.models import Tank


class TankFilter(PlacedFilter):
    area = filters.ChoiceFilter(field_name="area_id", label="Area", empty_label="any", choices=[])
    shape = filters.ChoiceFilter(label="Shape", empty_label="any", choices=Tank.Shape.choices)

    class Meta:
        model = Tank
        fields: list[str] = []

    def found_by(self, word: str) -> Q:
        return Q(name__icontains=word) | Q(product__name__icontains=word)
