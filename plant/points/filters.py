"""The filter of the register."""

from __future__ import annotations

import datetime as dt

import django_filters as filters
from django.db.models import Q, QuerySet

from plant.pages.filters import PlacedFilter
from plant.points.models import MeasuringPoint
from plant.tanks.models import Tank
from plant.transmitters.models import Installation, Principle

STATES = [
    ("now", "needs somebody now"),
    ("no transmitter", "no transmitter"),
    ("not calibrated", "not calibrated"),
    ("in doubt", "in doubt"),
    ("overdue", "overdue"),
    ("soon", "due in 30 days"),
    ("later", "due in 31 to 90 days"),
    ("in date", "in date"),
    ("deferred", "deferred"),
    ("off", "out of service"),
]


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
        # Each table is searched by itself: joined first, the search would run through all their
        # rows at once.
        present = Installation.objects.filter(removed_on=None, transmitter__serial__icontains=word)
        tanks = Tank.objects.filter(name__icontains=word)
        return (
            Q(tag__icontains=word)
            | Q(tank__in=tanks.values("pk"))
            | Q(pk__in=present.values("point"))
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
        matches = Q()
        for day, sites in by_day.items():
            rows = MeasuringPoint.objects.in_state(value, on=day).filter(site__in=sites)
            matches |= Q(pk__in=rows.values("pk"))
        return queryset.filter(matches)
