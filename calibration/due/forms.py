from __future__ import annotations

from django import forms

from calibration.due.reads import WITHOUT_A_JOB
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Principle

STATES = {
    "now": "need somebody",
    "no transmitter": "no transmitter",
    "not calibrated": "not calibrated",
    "in doubt": "in doubt",
    "overdue": "overdue",
    "soon": "within 30 days",
    "later": "in 31 to 90 days",
    "in date": "in date",
    "deferred": "deferred",
    "off": "out of service",
    WITHOUT_A_JOB: "not calibrated or in doubt, and nobody has the job",
}


class DueFilter(forms.Form):
    """What the due list is narrowed to, read from its address. The page draws the controls
    itself.
    """

    state = forms.ChoiceField(choices=list(STATES.items()), required=False)
    week = forms.DateField(required=False)
    site = forms.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    area = forms.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    principle = forms.ChoiceField(choices=Principle.choices, required=False)
    duty = forms.ChoiceField(choices=MeasuringPoint.Duty.choices, required=False)
    text = forms.CharField(required=False, max_length=80)
    sort = forms.ChoiceField(
        choices=[(s, s) for s in ("status", "due", "-due", "tag", "-tag")], required=False
    )
    tick = forms.ChoiceField(choices=[("all", "all")], required=False)
