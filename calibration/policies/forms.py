"""The form of a policy: what is chosen, in plain words beside each choice, and the figures that
belong to it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from django import forms
from django.forms.boundfield import BoundField, BoundWidget

from calibration.policies.acts import POLICY_FIELDS
from calibration.policies.models import Policy
from plant.pages.forms import RuleForm, field_for
from plant.refusals import Refused
from plant.saving import mark_of

# Error at the limit, U at k = 2, normal: 2.3 % (common practice says 2.5 %; JCGM 106:2012, 8.3,
# from memory).
WORDS: dict[str, str] = {
    Policy.Rule.SIMPLE: (
        "Passes when the error is within the tolerance. The uncertainty U is shown but does not "
        "decide: of errors right at the limit half are wrongly accepted."
    ),
    Policy.Rule.GUARD: (
        "Passes only when the error is inside the tolerance by r times U, fails when it is outside "
        "by as much; between them it is inconclusive. With r = 1, at most about 2.5 % of what "
        "passes at the edge is out of tolerance."
    ),
    Policy.Rule.RISK: (
        "Passes only when the true error, given reading and uncertainty, is out of tolerance with "
        "no more than this probability."
    ),
    Policy.Method.FIXED: "Stays as a planner sets it; nothing is proposed.",
    Policy.Method.STAIRCASE: (
        "A little longer each time it is found in tolerance, much shorter when found out of it. "
        "Needs no history, and takes years to settle."
    ),
    Policy.Method.DRIFT: (
        "The longest interval after which the next as found is still likely enough to be in "
        "tolerance, from the transmitter's own drift and that of its family."
    ),
    Policy.Method.RELIABILITY: (
        "The time after which the family's share in tolerance falls to the target, from pass and "
        "fail alone."
    ),
}
BELONGS: dict[str, tuple[str, ...]] = {
    Policy.Rule.GUARD: ("guard_share",),
    Policy.Rule.RISK: ("risk_percent",),
    Policy.Method.STAIRCASE: ("stair_longer_percent", "stair_shorter_percent"),
}
UNITS = {
    "guard_share": "× U",
    "risk_percent": "%",
    "target_percent": "%",
    "least_chance_percent": "%",
    "parts_within_days": "days",
    "shortest_months": "months",
    "longest_months": "months",
    "lengthen": "×",
    "stair_longer_percent": "%",
    "stair_shorter_percent": "%",
}
LABELS = {
    "guard_share": "Guard band r",
    "risk_percent": "False accept at most",
    "least_tur": "Warn below a test uncertainty ratio of",
    "target_percent": "In tolerance when due, at least",
    "least_chance_percent": "In doubt below a chance of passing of",
    "parts_within_days": "Output and primary element within",
    "shortest_months": "Shortest",
    "longest_months": "Longest",
    "lengthen": "Longer in one step, at most",
    "stair_longer_percent": "Longer by",
    "stair_shorter_percent": "Shorter by",
}
HINTS = {
    "least_tur": "Tolerance over U, the expanded uncertainty of an error at 95 %. Below it the "
    "record says that the standards are hardly good enough.",
    "target_percent": "The share of as founds that should be in tolerance.",
    "lengthen": "Shortening is never limited.",
    "least_chance_percent": "By its drift; a point below it needs a calibration before it is "
    "relied on.",
    "parts_within_days": "Calibrated no further apart, the two together move the due date.",
}
FIELD_OF_RULE = {
    "guard_band_from_0_to_2_U": "guard_share",
    "risk_below_half": "risk_percent",
    "target_from_50_to_99_9": "target_percent",
    "least_chance_from_50_to_99": "least_chance_percent",
    "parts_within_a_year": "parts_within_days",
    "shortest_below_longest_interval": "shortest_months",
}


class Choice(NamedTuple):
    """One radio button, what it means, and the fields that only count with it."""

    radio: BoundWidget
    label: str
    words: str
    fields: list[BoundField]


class PolicyForm(RuleForm):
    why = forms.CharField(label="Why", widget=forms.Textarea({"rows": 3}), max_length=2000)

    class Meta:
        model = Policy
        fields = POLICY_FIELDS
        formfield_callback = field_for
        widgets = {"rule": forms.RadioSelect, "method": forms.RadioSelect}

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        # A duty that follows the defaults has no row yet, and still two may change it at once.
        mark = mark_of(self.instance, POLICY_FIELDS)
        self.fields["seen"] = forms.CharField(widget=forms.HiddenInput, initial=mark)
        for name, label in LABELS.items():
            field = self.fields[name]
            field.label, field.help_text = label, HINTS.get(name, "")
            if name in UNITS:
                field.widget.attrs["data-unit"] = UNITS[name]

    @property
    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in POLICY_FIELDS}

    def rules(self) -> list[Choice]:
        return self._choices("rule", Policy.Rule.choices)

    def methods(self) -> list[Choice]:
        return self._choices("method", Policy.Method.choices)

    def _choices(self, name: str, known: list[tuple[str, Any]]) -> list[Choice]:
        return [
            Choice(radio, str(label), WORDS[key], [self[field] for field in BELONGS.get(key, ())])
            for radio, (key, label) in zip(self[name], known, strict=True)
        ]

    def refuse(self, refusal: Refused) -> None:
        """A rule of the model about one field speaks beside it."""
        if refusal.field is None:
            for rule in Policy._meta.constraints:
                if rule.name in FIELD_OF_RULE and rule.get_violation_error_message() == str(
                    refusal
                ):
                    refusal.field = FIELD_OF_RULE[rule.name]
        super().refuse(refusal)


class DropForm(forms.Form):
    why = forms.CharField(label="Why", widget=forms.Textarea({"rows": 2}), max_length=2000)
