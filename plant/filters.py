"""Filters of the register's lists. Choices come in as arguments: a list then costs a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet

from plant.models import Installation, MeasuringPoint, Person, Principle, Site, Tank, Transmitter

STATES = [
    ("due", "due or overdue"),
    ("overdue", "overdue"),
    ("soon", "due in 30 days"),
    ("later", "due in 31 to 90 days"),
    ("in date", "in date"),
    ("deferred", "deferred"),
    ("off", "out of service"),
]


@dataclass(frozen=True)
class Places:
    """The sites a person sees, with their areas and their day, read in one query."""

    sites: dict[int, str]
    areas: list[tuple[int, str]]
    days: dict[int, dt.date]

    @classmethod
    def seen_by(cls, person: Person, at: dt.datetime) -> Places:
        rows = list(
            Site.objects.filter(pk__in=person.site_ids("see"))
            .order_by("name", "areas__name")
            .values_list("pk", "name", "time_zone", "areas__pk", "areas__name")
        )
        sites = {site: name for site, name, *_ in rows}
        several = len(sites) > 1
        areas = [
            (area, f"{name}, {site}" if several else name)
            for _, site, _, area, name in rows
            if area
        ]
        days = {site: at.astimezone(ZoneInfo(zone)).date() for site, _, zone, *_ in rows}
        return cls(sites, areas, days)


def chosen(data: Mapping[str, str], name: str, known: Iterable[Any]) -> str:
    """The value of a filter if it is one of ``known``."""
    value = data.get(name, "")
    return value if value in {str(key) for key in known} else ""


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


class PointFilter(PlacedFilter):
    area = filters.ChoiceFilter(
        field_name="tank__area_id", label="Area", empty_label="any", choices=[]
    )
    principle = filters.ChoiceFilter(
        method="with_principle", label="Principle", empty_label="any", choices=Principle.choices
    )
    duty = filters.ChoiceFilter(
        label="Duty", empty_label="any", choices=MeasuringPoint.Duty.choices
    )
    state = filters.ChoiceFilter(
        method="in_state", label="State", empty_label="any", choices=STATES
    )

    class Meta:
        model = MeasuringPoint
        fields: list[str] = []

    def found_by(self, word: str) -> Q:
        # Each table is searched by itself: joined first, the search would run through all their rows at once.
        hanging = Installation.objects.filter(removed_on=None, transmitter__serial__icontains=word)
        tanks = Tank.objects.filter(name__icontains=word)
        return (
            Q(tag__icontains=word)
            | Q(tank__in=tanks.values("pk"))
            | Q(pk__in=hanging.values("point"))
        )

    def with_principle(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset.filter(
            installations__removed_on=None, installations__transmitter__principle=value
        )

    def in_state(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        """Each site's points on that site's own day."""
        by_day: dict[dt.date, list[int]] = {}
        for site, day in self.places.days.items():
            by_day.setdefault(day, []).append(site)
        if len(by_day) == 1:
            return queryset.in_state(value, on=next(iter(by_day)))  # type: ignore[attr-defined]
        found = Q()
        for day, sites in by_day.items():
            rows = MeasuringPoint.objects.in_state(value, on=day).filter(site__in=sites)
            found |= Q(pk__in=rows.values("pk"))
        return queryset.filter(found)


class TankFilter(PlacedFilter):
    area = filters.ChoiceFilter(field_name="area_id", label="Area", empty_label="any", choices=[])
    shape = filters.ChoiceFilter(label="Shape", empty_label="any", choices=Tank.Shape.choices)

    class Meta:
        model = Tank
        fields: list[str] = []

    def found_by(self, word: str) -> Q:
        return Q(name__icontains=word) | Q(product__name__icontains=word)


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
        hanging = Installation.objects.filter(removed_on=None, point__tag__icontains=word)
        named = Q(serial__icontains=word) | Q(maker__icontains=word) | Q(model__icontains=word)
        return named | Q(pk__in=hanging.values("transmitter"))
