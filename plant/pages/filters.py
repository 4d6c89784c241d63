"""What the filters of the register's lists share. Choices come in as arguments: a fixed number of
queries.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet

from plant.pages.forms import day_input
from plant.pages.places import Places


def chosen(data: Mapping[str, str], name: str, known: Iterable[Any]) -> str:
    """The value of a filter if it is one of ``known``."""
    value = data.get(name, "")
    return value if value in {str(key) for key in known} else ""


def day_filter(label: str, **more: Any) -> filters.DateFilter:
    """A day chosen with the browser's own picker."""
    return filters.DateFilter(label=label, widget=day_input(), **more)


class PlacedFilter(filters.FilterSet):
    """Search in words, and the site where the person has several."""

    q = filters.CharFilter(
        method="search", label="Search", widget=forms.TextInput({"type": "search"})
    )

    def __init__(self, data: Any, queryset: QuerySet, *, places: Places) -> None:
        super().__init__(data, queryset)
        self.places = places
        if len(places.sites) > 1:
            self.filters["site"] = self._choice("site_id", "Site", places.sites.items())
        if "area" in self.filters:
            self.filters["area"].extra["choices"] = places.areas

    def _choice(self, field: str, label: str, choices: Iterable[Any]) -> filters.ChoiceFilter:
        made = filters.ChoiceFilter(
            field_name=field, label=label, choices=list(choices), empty_label="any"
        )
        made.parent, made.model = self, self.queryset.model
        return made

    def search(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        """Rows in which every word is found somewhere."""
        for word in value.split()[:4]:
            queryset = queryset.filter(self.found_by(word))
        return queryset

    def found_by(self, word: str) -> Q:
        raise NotImplementedError

    def shown(self) -> list[forms.BoundField]:
        return [self.form[name] for name in self.filters]

    @property
    def is_used(self) -> bool:
        return any(self.data.get(name) for name in self.filters)
