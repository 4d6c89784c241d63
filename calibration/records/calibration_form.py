"""What a technician types of one calibration, all on one page: head, readings of three stages,
adjustments; and the standards to tick.
"""

from __future__ import annotations

import datetime as dt
import uuid
from functools import cached_property
from typing import Any, NamedTuple

from calibration.procedures.models import ProcedureVersion
from calibration.records.devices import recent_devices
from calibration.records.entry import RecordEntry
from calibration.records.forms import (
    AdjustmentForm,
    AmendmentHeadForm,
    Data,
    HeadForm,
    ReadingRows,
)
from calibration.records.judging import Range
from calibration.records.kit import short_of_signal
from calibration.records.models import Adjustment, Calibration
from calibration.records.prefill import STAGES, filled_from, set_out
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from plant.refusals import Refused
from plant.transmitters.models import Installation


class ShownStandard(NamedTuple):
    """A standard to tick; ``covers`` are its certificates' days, for the page's script."""

    standard: ReferenceStandard
    certificate: StandardCertificate | None  # that covers the day; None: it may not be used
    covers: str
    ticked: bool
    mine: bool


class CalibrationForm:
    """All of the page: asks each part, gathers the entry, and shows again whatever was refused."""

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
        self._offer_devices(today)
        choices = [(s.pk, s.name) for s in self._standards]
        self.head.fields["standards"].choices = choices  # type: ignore[attr-defined]
        self.stands, self.found, self.left = (ReadingRows(key, start[key], data) for key in STAGES)
        self.adjustments = [
            AdjustmentForm(kind, data, initial=start["adjusted"].get(kind.value))
            for kind in Adjustment.Kind
        ]
        self.is_bound = data is not None

    def _offer_devices(self, today: dt.date) -> None:
        """Asked only where one was removed lately; an amendment is of the same transmitter."""
        rows = [] if self.amended else recent_devices(self.point, today)
        self._devices = {str(row.transmitter_id): row.transmitter for row in rows}
        if all(row.removed_on is None for row in rows):
            del self.head.fields["transmitter"]
            return
        choices = [(str(row.transmitter_id), _device_text(row)) for row in rows]
        self.head.fields["transmitter"].choices = choices  # type: ignore[attr-defined]

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
            without_level=self.stands.without_level(),
            transmitter=self._devices.get(typed.get("transmitter", "")),
        )

    def refuse(self, refusal: Refused) -> None:
        """Put a refusal beside the part it is about."""
        rows = {"as_it_stands": self.stands, "as_left": self.left}.get(refusal.field or "")
        if rows:
            rows.errors.append(str(refusal))
        else:
            field = refusal.field if refusal.field in self.head.fields else None
            self.head.add_error(field, str(refusal))

    # ---- for the page ----
    @cached_property
    def against(self) -> Range:
        return Range.of_point(self.point)

    def compute(self) -> CalibrationForm:
        """Compute the figures beside each row; once, before the page is drawn."""
        for rows in self.stages:
            rows.compute(self.against)
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
            "limits": self.point.error_limits.json(),
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


def _device_text(row: Installation) -> str:
    if row.removed_on is None:
        return f"{row.transmitter}, there now"
    return f"{row.transmitter}, removed {day_text(row.removed_on)}"


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
