"""Forms of sites and areas."""

from __future__ import annotations

from django import forms

from plant.pages.forms import RuleForm, SiteForm, field_for
from plant.sites.acts import ADMINISTERED, PLANNED
from plant.sites.models import Area, Site

TIME = forms.TimeInput({"type": "time"}, format="%H:%M")


class NewSiteForm(RuleForm):
    class Meta:
        model = Site
        fields = ("code", "name", "time_zone", "crew_hours", "digest_at")
        formfield_callback = field_for
        widgets = {"digest_at": TIME}


class PlannedSiteForm(RuleForm):
    """What a planner sets at a site."""

    prefix = "planned"

    class Meta:
        model = Site
        fields = PLANNED
        formfield_callback = field_for
        widgets = {"digest_at": TIME}


class AdministeredSiteForm(RuleForm):
    """What an administrator sets at a site."""

    prefix = "administered"

    class Meta:
        model = Site
        fields = ADMINISTERED
        formfield_callback = field_for


class AreaForm(SiteForm):
    class Meta:
        model = Area
        fields = ("name",)
        formfield_callback = field_for
