"""What the register's forms share: rules beside their fields, the mark of the version seen, the
site of a new row.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.forms.models import construct_instance

from plant.columns import Attributes
from plant.pages.digits import DigitsField
from plant.parsers import FIRST_DAY, LAST_DAY
from plant.people.models import Person
from plant.refusals import Refused
from plant.saving import Stale, mark_of, problems, shown
from plant.sites.models import Site

UNITS: dict[str, str] = {
    "crew_hours": "h a week",
    "product_c": "°C",
}
"""Units that stand beside their control; the label then goes without."""
PLAIN_LABELS = {
    "product_c": "product temperature",
    "crew_hours": "crew hours",
    "wants_mail": "gets reminders by e-mail",
}


def field_for(column: models.Field, **more: Any) -> forms.Field | None:
    """A model column's form field: decimals as typed digits, days by the browser's own picker."""
    label = PLAIN_LABELS.get(column.name, str(column.verbose_name))
    return _field(column, label, UNITS.get(column.name, ""), **more)


def described_by(attributes: Attributes) -> Callable[..., forms.Field | None]:
    """How a form makes the fields of described attributes: with their labels and units."""

    def field_of(column: models.Field, **more: Any) -> forms.Field | None:
        if column.name not in attributes.by_field:
            return field_for(column, **more)
        label, unit = attributes.label(column.name), attributes.unit(column.name)
        return _field(column, label, unit, **more)

    return field_of


def _field(column: models.Field, name: str, unit: str, **more: Any) -> forms.Field | None:
    more = {"label": name[:1].upper() + name[1:], "help_text": column.help_text} | more
    if isinstance(column, models.DecimalField):
        return DigitsField(
            max_digits=column.max_digits,
            decimal_places=column.decimal_places,
            unit=unit,
            required=not column.blank,
            **more,
        )
    if isinstance(column, models.DateField):
        more |= {"widget": day_input(), "validators": DAY_LIMITS}
    if isinstance(column, models.TextField):
        more["widget"] = forms.Textarea({"rows": 3})
    return column.formfield(**more)


def day_input(**attrs: Any) -> forms.DateInput:
    """The browser's own picker of a day."""
    return forms.DateInput({"type": "date", **attrs}, format="%Y-%m-%d")


DAY_LIMITS = (
    MinValueValidator(FIRST_DAY, f"A day before {FIRST_DAY.year} cannot be stored."),
    MaxValueValidator(LAST_DAY, f"A day after {LAST_DAY.year} cannot be stored."),
)


def day_field(label: str, **more: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=day_input(), validators=DAY_LIMITS, **more)


class RuleForm(forms.ModelForm):
    """A form over one row. Every rule of the model is asked here first, so that all messages come
    at once.

    An existing row's form carries ``seen``, the mark of the version it was filled from;
    ``versions`` is set when somebody else stored another one meanwhile: (label, theirs, yours)
    lines for the page.
    """

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    versions: list[tuple[str, str, str]] | None = None

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        if self.instance.pk:
            self.fields["seen"].initial = self.mark(self.instance)
        else:
            del self.fields["seen"]

    @property
    def columns(self) -> tuple[str, ...]:
        """The model's fields this form changes."""
        return tuple(self._meta.fields or ())

    def mark(self, row: Any) -> str:
        return mark_of(row, self.columns)

    def prepare(self) -> None:
        """Set what the row needs before its rules can be asked, such as derived columns. May raise
        Refused.
        """

    def _post_clean(self) -> None:
        """In place of Django's own: every rule is asked once, and its message put beside the field
        it is about.
        """
        self.instance = construct_instance(
            self, self.instance, self._meta.fields, self._meta.exclude
        )
        try:
            self.prepare()
        except Refused as refusal:
            self.refuse(refusal)
        wrong = {*self.errors, *self.not_asked()}
        for problem in problems(self.instance, ignoring=wrong):
            self.refuse(Refused(problem.message, field=problem.field or None))

    def not_asked(self) -> set[str]:
        """Columns whose rules cannot be asked because what they derive from is wrong."""
        return set()

    def refuse(self, refusal: Refused) -> None:
        """Put a refusal beside its field, and say so when another version was stored meanwhile."""
        if isinstance(refusal, Stale):
            self._show_both(refusal.stored)
        field = refusal.field if refusal.field in self.fields else None
        self.add_error(field, str(refusal))

    def _show_both(self, stored: Any) -> None:
        names = [name for name in self.columns if shown(stored, name) != shown(self.instance, name)]
        self.versions = [
            (
                str(stored._meta.get_field(name).verbose_name),
                shown(stored, name),
                shown(self.instance, name),
            )
            for name in names
        ]
        # Saving again is then a decision, made with both versions in sight.
        sent = self.data.dict()  # type: ignore[attr-defined]
        self.data = sent | {self.add_prefix("seen"): self.mark(stored)}


class SiteForm(RuleForm):
    """A form over a row of a site. A new row asks for the site only where the person has
    several.
    """

    act = "edit register"

    def __init__(self, *args: Any, person: Person, **more: Any) -> None:
        super().__init__(*args, **more)
        self.person = person
        self.sites = [self.instance.site] if self.instance.pk else _sites(person, self.act)
        if len(self.sites) > 1:
            choices = Site.objects.filter(pk__in=[site.pk for site in self.sites])
            self.fields["site"] = forms.ModelChoiceField(choices, label="Site")
            self.order_fields(["site", *self.fields])

    @property
    def site(self) -> Site | None:
        return self.cleaned_data.get("site") if "site" in self.fields else self.sites[0]

    def _post_clean(self) -> None:
        if self.site:
            self.instance.site = self.site
        super()._post_clean()

    def not_asked(self) -> set[str]:
        return set() if self.site else {"site"}


def _sites(person: Person, act: str) -> list[Site]:
    return list(Site.objects.filter(pk__in=person.site_ids(act)))


class NamedRow(forms.CharField):
    """A row chosen by typing its name, with the site's names offered: a list of thousands serves
    nobody.
    """

    def __init__(self, *, offer: str, **more: Any) -> None:
        more["widget"] = forms.TextInput({"list": offer, "autocomplete": "off"})
        super().__init__(**more)
        self.offer = offer
