"""What the history and the ledger are asked for, read from their addresses."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.db.models import Q, QuerySet

from plant.ledger.models import LedgerEntry
from plant.people.models import Person


def _day(label: str, **more: Any) -> forms.DateField:
    return forms.DateField(
        label=label, widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"), **more
    )


def _text(label: str, *, longest: int, size: int) -> forms.CharField:
    widget = forms.TextInput({"size": size})
    return forms.CharField(label=label, required=False, max_length=longest, widget=widget)


class DayForm(forms.Form):
    day = _day("As it stood at the end of")

    def __init__(self, data: Any, *, today: dt.date) -> None:
        super().__init__(data)
        self.today = today
        self.fields["day"].widget.attrs["max"] = today.isoformat()

    def clean_day(self) -> dt.date:
        day: dt.date = self.cleaned_data["day"]
        if day > self.today:
            raise forms.ValidationError("That day is still to come; choose one up to today.")
        if day.year < 1990:
            raise forms.ValidationError("No book goes back that far; choose a later day.")
        return day


class LedgerFilter(forms.Form):
    """What a person looks for. A field that makes no sense is said so, and filters nothing."""

    q = _text("On what, or why", longest=80, size=18)
    who = _text("Who", longest=80, size=12)
    act = _text("Act", longest=40, size=12)
    kind = _text("Kind", longest=40, size=12)
    since = _day("From", required=False)
    until = _day("Until", required=False)

    def __init__(self, data: Any, *, person: Person) -> None:
        super().__init__(data)
        self.person = person

    def narrow(self, entries: QuerySet[LedgerEntry]) -> QuerySet[LedgerEntry]:
        self.is_valid()
        typed = {name: value for name, value in self.cleaned_data.items() if value}
        for name, condition in {
            "q": lambda v: Q(subject__icontains=v) | Q(why__icontains=v),
            "who": lambda v: Q(person_name__icontains=v),
            "act": lambda v: Q(act__icontains=v),
            "kind": lambda v: Q(subject_kind__icontains=v),
            "since": lambda v: Q(at__gte=_begins(v)),
            "until": lambda v: Q(at__lt=_begins(v + dt.timedelta(days=1))),
        }.items():
            if name in typed:
                entries = entries.filter(condition(typed[name]))
        return entries


def _begins(day: dt.date) -> dt.datetime:
    """Days of the ledger are UTC days: one list may hold several sites with clocks of their own."""
    return dt.datetime.combine(day, dt.time(), tzinfo=dt.UTC)
