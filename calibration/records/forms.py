"""What a technician types of one calibration: head, readings of three stages, adjustments; one
entry on one page.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from django import forms

from calibration.procedures.models import InputWay, ProcedureVersion
from calibration.records.entry import AdjustmentEntry, ReadingEntry, RecordEntry
from calibration.records.judging import Range, judge
from calibration.records.kit import short_of_signal
from calibration.records.models import Adjustment, Calibration
from calibration.records.prefill import STAGES, filled_from, set_out
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.signals import SIGNALS, expected_at, percent_at
from plant.pages.digits import DigitsField
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.quantities import number, percent, quantity
from plant.refusals import Refused

Data = Mapping[str, Any] | None
MOST_ROWS = 60


class HeadForm(forms.Form):
    """Who, when, how, with what; and what belongs to the whole record."""

    submission = forms.UUIDField(widget=forms.HiddenInput)
    done_on = forms.DateField(
        label="Day", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    way = forms.ChoiceField(label="Input applied by", choices=InputWay)
    ambient_c = DigitsField(
        label="Ambient", max_digits=5, decimal_places=1, unit="°C", required=False
    )
    product_c = DigitsField(
        label="Product", max_digits=5, decimal_places=1, unit="°C", required=False
    )
    standards = forms.MultipleChoiceField(
        label="Reference standards",
        error_messages={
            "required": "Tick at least one standard; without it the result is not traceable."
        },
    )
    cautions_read = forms.BooleanField(
        label="I have read these cautions and follow them, and the site's permits and rules "
        "before them.",
        error_messages={"required": "Read the cautions, follow them, and tick here."},
    )
    no_as_found_reason = forms.CharField(
        label="Why as found is missing or incomplete",
        max_length=300,
        required=False,
        widget=forms.TextInput,
        help_text="Only when it could not be read. As found cannot be made up later: drift is "
        "lost with it.",
    )
    note = forms.CharField(
        label="Note", max_length=4000, required=False, widget=forms.Textarea({"rows": 3})
    )


class AmendmentHeadForm(HeadForm):
    reason = forms.CharField(
        label="Why the record is amended",
        max_length=2000,
        widget=forms.Textarea({"rows": 3}),
        help_text="What was wrong and how you know. The earlier record stays readable beside this "
        "one.",
    )


class ReadingForm(forms.Form):
    applied = DigitsField(required=False, max_digits=14, decimal_places=5)
    observed = DigitsField(required=False, max_digits=10, decimal_places=5)
    indication = DigitsField(required=False, max_digits=14, decimal_places=5)
    way_up = forms.ChoiceField(
        choices=[("rising", "rising"), ("falling", "falling")],
        widget=forms.HiddenInput,
        required=False,
    )
    run = forms.IntegerField(min_value=1, max_value=99, widget=forms.HiddenInput, required=False)

    def clean(self) -> dict[str, Any]:
        if (
            self.is_read
            and self.cleaned_data.get("applied") is None
            and "applied" not in self.errors
        ):
            self.add_error("applied", "Give the applied value of this reading.")
        return self.cleaned_data

    @property
    def is_read(self) -> bool:
        return any(self.cleaned_data.get(name) is not None for name in ("observed", "indication"))

    @property
    def is_falling(self) -> bool:
        return self["way_up"].value() == "falling"

    def entry(self, stage: str, sequence: int) -> ReadingEntry:
        typed = self.cleaned_data
        return ReadingEntry(
            stage=stage,
            sequence=sequence,
            applied=typed["applied"],
            observed=typed.get("observed"),
            indication=typed.get("indication"),
            rising=typed.get("way_up") != "falling",
            run=typed.get("run") or 1,
        )


class Told(NamedTuple):
    """What the page says beside a row, by the server's own arithmetic."""

    percent: str = ""
    expected: str = ""
    error: str = ""
    band: str = ""
    verdict: str = ""


class ReadingRows:
    """The rows of one stage. Their number comes back with them, so that a changed procedure loses
    none.
    """

    def __init__(self, key: str, start: Sequence[dict[str, Any]], data: Data = None) -> None:
        self.key, self.stage, self.errors = key, STAGES[key], []  # type: tuple[str, str, list[str]]
        count = _count(data.get(f"{key}-rows"), len(start)) if data is not None else len(start)
        self.forms = [
            ReadingForm(data, prefix=f"{key}-{n}", initial=start[n] if n < len(start) else {})
            for n in range(count)
        ]

    def is_valid(self) -> bool:
        return all([form.is_valid() for form in self.forms])

    @property
    def read(self) -> list[ReadingForm]:
        return [form for form in self.forms if form.is_read]

    def ask_for_the_rest(self) -> bool:
        """Refuse a stage read in part; a row whose applied value is cleared is left out on
        purpose.
        """
        missing = [
            f for f in self.forms if not f.is_read and f.cleaned_data.get("applied") is not None
        ]
        if not self.read or not missing:
            return True
        for form in missing:
            form.add_error(
                "observed", "Read this one too, or clear its applied value to leave it out."
            )
        return False

    def entry(self) -> list[ReadingEntry]:
        return [form.entry(self.stage, n) for n, form in enumerate(self.read, 1)]

    def tell(self, against: Range) -> None:
        for form in self.forms:
            form.told = _told(form, against)  # type: ignore[attr-defined]

    @property
    def has_entries(self) -> bool:
        """Something was typed here: the stage is shown open."""
        names = ("observed", "indication")
        return any(form[name].value() for form in self.forms for name in names) or bool(self.errors)


class AdjustmentForm(forms.Form):
    """One kind of adjustment; its place on the page says which, so it cannot be forged."""

    done = forms.BooleanField(required=False)
    before = DigitsField(required=False, max_digits=10, decimal_places=5)
    after = DigitsField(required=False, max_digits=10, decimal_places=5)
    note = forms.CharField(required=False, max_length=200)

    def __init__(self, kind: Adjustment.Kind, data: Data, **more: Any) -> None:
        self.kind = kind
        super().__init__(data, prefix=f"adjust-{kind.name.lower()}", **more)

    @property
    def is_done(self) -> bool:
        typed = self.cleaned_data
        return (
            typed["done"]
            or bool(typed["note"])
            or any(typed.get(n) is not None for n in ("before", "after"))
        )

    def entry(self) -> AdjustmentEntry:
        typed = self.cleaned_data
        return AdjustmentEntry(self.kind.value, typed["before"], typed["after"], typed["note"])


class ShownStandard(NamedTuple):
    """A standard to tick; ``covers`` are its certificates' days, for the page's script."""

    standard: ReferenceStandard
    certificate: StandardCertificate | None  # that covers the day; None: it may not be used
    covers: str
    ticked: bool
    mine: bool


class CalibrationForm:
    """All of the page: asks each part, gathers what is sent, and shows again whatever was
    refused.
    """

    def __init__(
        self,
        point: MeasuringPoint,
        version: ProcedureVersion,
        *,
        today: dt.date,
        by: Person,
        data: Data = None,
        amended: Calibration | None = None,
    ) -> None:
        self.point, self.version, self.amended, self.by = point, version, amended, by
        start = filled_from(amended) if amended else set_out(point, version)
        head = AmendmentHeadForm if amended else HeadForm
        self.head = head(
            data, initial={"done_on": today, "submission": uuid.uuid4(), **start["head"]}
        )
        self.head.fields["standards"].choices = [(s.pk, s.name) for s in self._standards]  # type: ignore[attr-defined]
        self.stands, self.found, self.left = (ReadingRows(key, start[key], data) for key in STAGES)
        self.adjustments = [
            AdjustmentForm(kind, data, initial=start["adjusted"].get(kind.value))
            for kind in Adjustment.Kind
        ]
        self.is_bound = data is not None

    @property
    def stages(self) -> tuple[ReadingRows, ReadingRows, ReadingRows]:
        return self.stands, self.found, self.left

    def is_valid(self) -> bool:
        parts: list[Any] = [self.head, *self.stages, *self.adjustments]
        if not all([part.is_valid() for part in parts]):
            return False
        return (
            bool(self.head.cleaned_data["no_as_found_reason"].strip())
            or self.found.ask_for_the_rest()
        )

    def entry(self) -> RecordEntry:
        typed = self.head.cleaned_data
        chosen = set(typed["standards"])
        return RecordEntry(
            done_on=typed["done_on"],
            way=typed["way"],
            procedure_version=self.version,
            readings=[reading for rows in self.stages for reading in rows.entry()],
            standards=[s for s in self._standards if str(s.pk) in chosen],
            adjustments=[form.entry() for form in self.adjustments if form.is_done],
            ambient_c=typed["ambient_c"],
            product_c=typed["product_c"],
            no_as_found_reason=typed["no_as_found_reason"],
            note=typed["note"],
        )

    def refuse(self, refusal: Refused) -> None:
        """Put the operation's refusal beside the part it is about."""
        rows = {"as_it_stands": self.stands, "as_left": self.left}.get(refusal.field or "")
        if rows:
            rows.errors.append(str(refusal))
        else:
            field = refusal.field if refusal.field in self.head.fields else None
            self.head.add_error(field, str(refusal))

    # ---- for the page ----
    @cached_property
    def against(self) -> Range:
        point = self.point
        return Range(float(point.lower), float(point.upper), point.signal, point.limits.percent)

    def tell(self) -> CalibrationForm:
        """Compute what stands beside each row; once, before the page is drawn."""
        for rows in self.stages:
            rows.tell(self.against)
        return self

    @property
    def wrong(self) -> int:
        """How many places need a change."""
        every = [
            self.head,
            *self.adjustments,
            *(form for rows in self.stages for form in rows.forms),
        ]
        return sum(len(form.errors) for form in every) + sum(
            len(rows.errors) for rows in self.stages
        )

    @property
    def is_adjusted(self) -> bool:
        names = ("done", "before", "after", "note")
        return any(form[name].value() for form in self.adjustments for name in names)

    @cached_property
    def standards(self) -> list[ShownStandard]:
        """The site's standards, one's own kit first; those without a certificate for the day and
        the point's output stay hidden."""
        day = self._shown_day
        ticked = {str(pk) for pk in self.head["standards"].value() or []}
        covers: dict[int, list[StandardCertificate]] = {}
        certificates = StandardCertificate.objects.filter(standard__in=self._standards)
        for certificate in certificates.select_related("standard").order_by("valid_until"):
            if short_of_signal(certificate.standard, certificate, self.point):
                continue
            covers.setdefault(certificate.standard_id, []).append(certificate)
        shown = [
            _shown(s, covers.get(s.pk, []), day, str(s.pk) in ticked, s.holder_id == self.by.pk)
            for s in self._standards
        ]
        return sorted(shown, key=lambda s: not s.mine)

    @property
    def numbers(self) -> dict[str, Any]:
        """What the page's script computes with; decimals as text, so that no digit is lost."""
        return {
            "lower": str(self.point.lower),
            "upper": str(self.point.upper),
            "signal": self.point.signal,
            "tolerance": self.point.limits.percent,
            "adjustLimit": self.point.adjust_limits.percent,
        }

    @cached_property
    def _standards(self) -> list[ReferenceStandard]:
        return list(ReferenceStandard.objects.filter(site_id=self.point.site_id))

    @property
    def _shown_day(self) -> dt.date | None:
        if self.is_bound:
            self.head.is_valid()
            return self.head.cleaned_data.get("done_on")
        return self.head.initial["done_on"]


def _told(form: ReadingForm, against: Range) -> Told:
    applied, observed, indication = (
        _number(form, name) for name in ("applied", "observed", "indication")
    )
    if applied is None:
        return Told()
    ends = {"lower": against.lower, "upper": against.upper}
    seen = np.nan if observed is None else float(observed)
    expected = expected_at(float(applied), seen, **ends, signal=SIGNALS[against.signal])
    # As it will be stored, so that the page and the record round the same digits.
    stored = Decimal(str(round(float(expected), 5)))
    shown = Told(f"{number(percent_at(float(applied), **ends), 0)} %", quantity(stored, "mA"))
    if observed is None and indication is None:
        return shown
    reading = judge([ReadingEntry("as found", 1, applied, observed, indication)], against).readings[
        0
    ]
    error = percent(reading.error_percent, against.tolerance_percent)
    return shown._replace(error=error, band=reading.band, verdict=reading.verdict)


def _number(form: ReadingForm, name: str) -> Decimal | None:
    """A value of the row, typed or prefilled; None where there is none that can be computed
    with.
    """
    if form.is_bound:
        return (
            form.cleaned_data.get(name)
            if form.is_valid() or hasattr(form, "cleaned_data")
            else None
        )
    text = form.initial.get(name)
    return Decimal(text) if text else None


def _shown(
    standard: ReferenceStandard,
    certificates: list[StandardCertificate],
    day: dt.date | None,
    ticked: bool,
    mine: bool,
) -> ShownStandard:
    spans = [(c, c.issued_on, _last_day(standard, c)) for c in certificates]
    spans = [span for span in spans if span[1] <= span[2]]
    on_day = [c for c, first, last in spans if day and first <= day <= last]
    covers = " ".join(f"{first}/{last}" for _, first, last in spans)
    return ShownStandard(standard, on_day[0] if on_day else None, covers, ticked, mine)


def _last_day(standard: ReferenceStandard, certificate: StandardCertificate) -> dt.date:
    """A withdrawal ends the cover on the day before it."""
    ends = [d - dt.timedelta(1) for d in (standard.withdrawn_on, certificate.withdrawn_on) if d]
    return min([certificate.valid_until, *ends])


def _count(text: Any, planned: int) -> int:
    return (
        int(text)
        if isinstance(text, str) and text.isdecimal() and 0 < int(text) <= MOST_ROWS
        else planned
    )
