"""Forms of people and their appointments."""

from __future__ import annotations

from typing import Any

from django import forms

from plant.pages.forms import RuleForm, day_field, field_for
from plant.people.acts import PERSON_FIELDS
from plant.people.models import Person
from plant.people.roles import Role
from plant.sites.models import Site


def _roles() -> list[tuple[str, str]]:
    return [("", "choose"), *((role.value, role.label) for role in Role)]


class PasswordForm(forms.Form):
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text="At least 12 characters; no common password, and unlike the name.",
    )


class AppointmentForm(forms.Form):
    """A role at one of the sites that ``person`` administers."""

    site = forms.ModelChoiceField(Site.objects.none(), label="Site", empty_label=None)
    role = forms.ChoiceField(choices=_roles, label="Role")
    starts_on = day_field("From")
    ends_on = day_field("Until and including", required=False, help_text="Empty: until ended.")

    def __init__(self, *args: Any, person: Person, **more: Any) -> None:
        super().__init__(*args, **more)
        choices: Any = self.fields["site"]
        choices.queryset = Site.objects.filter(pk__in=person.site_ids("manage people"))


class PersonForm(RuleForm):
    class Meta:
        model = Person
        fields = PERSON_FIELDS
        formfield_callback = field_for
        help_texts = {"wants_mail": "Without it, reminders are read on the page only."}


class NewPersonForm(RuleForm):
    """A new person with a password to begin with and a first role."""

    password = PasswordForm.base_fields["password"]
    site = forms.ModelChoiceField(Site.objects.none(), label="Site", empty_label=None)
    role = forms.ChoiceField(choices=_roles, label="First role")

    class Meta:
        model = Person
        fields = ("name", "username", "email", "wants_mail")
        formfield_callback = field_for

    def __init__(self, *args: Any, person: Person, **more: Any) -> None:
        super().__init__(*args, **more)
        choices: Any = self.fields["site"]
        choices.queryset = Site.objects.filter(pk__in=person.site_ids("manage people"))
        self.fields["username"].label = "User name"
        self.fields[
            "username"
        ].help_text = "Letters, digits and . _ - only; it cannot be changed later."
        self.fields["password"].label = "First password"

    def not_asked(self) -> set[str]:
        return {"password"}


class WhyForm(forms.Form):
    why = forms.CharField(label="Why", max_length=300)
