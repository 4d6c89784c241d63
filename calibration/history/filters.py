"""Filtering the ledger."""

from __future__ import annotations

import datetime as dt
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet

from plant.ledger.models import LedgerEntry
from plant.pages.filters import day_filter


def _text(label: str, *, longest: int, size: int, **more: Any) -> filters.CharFilter:
    widget = forms.TextInput({"size": size})
    return filters.CharFilter(
        label=label, max_length=longest, widget=widget, lookup_expr="icontains", **more
    )


class LedgerFilter(filters.FilterSet):
    """What a person looks for. A field that is not understood says so, and filters nothing."""

    q = _text("On what, or why", longest=80, size=18, method="search")
    who = _text("Who", longest=80, size=12, field_name="person_name")
    act = _text("Act", longest=40, size=12)
    kind = _text("Kind", longest=40, size=12, field_name="subject_kind")
    since = day_filter("From", method="from_day")
    until = day_filter("Until", method="until_day")

    class Meta:
        model = LedgerEntry
        fields: list[str] = []

    def search(self, entries: QuerySet, name: str, value: str) -> QuerySet:
        return entries.filter(Q(subject__icontains=value) | Q(why__icontains=value))

    def from_day(self, entries: QuerySet, name: str, value: dt.date) -> QuerySet:
        return entries.filter(at__gte=_begins(value))

    def until_day(self, entries: QuerySet, name: str, value: dt.date) -> QuerySet:
        return entries.filter(at__lt=_begins(value + dt.timedelta(days=1)))


def _begins(day: dt.date) -> dt.datetime:
    """Days of the ledger are UTC days: one list may hold several sites with clocks of their own."""
    return dt.datetime.combine(day, dt.time(), tzinfo=dt.UTC)
