"""The day for which the history is shown, read from its address."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from plant.pages.forms import day_field


class DayForm(forms.Form):
    day = day_field("As it stood at the end of")

    def __init__(self, data: Any, *, today: dt.date) -> None:
        super().__init__(data)
        self.today = today
        self.fields["day"].widget.attrs["max"] = today.isoformat()

    def clean_day(self) -> dt.date:
        day: dt.date = self.cleaned_data["day"]
        if day > self.today:
            raise forms.ValidationError("That day is still to come; choose one up to today.")
        if day.year < 1990:
            raise forms.ValidationError("No register goes back that far; choose a later day.")
        return day
