"""Why a record is refused, each refusal with its parts."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from plant.quantities import day_text
from plant.refusals import Refused

if TYPE_CHECKING:
    from calibration.jobs.models import Job
    from calibration.records.models import Calibration
    from calibration.standards.models import ReferenceStandard, StandardCertificate
    from plant.transmitters.models import Transmitter


class DayInFuture(Refused):
    def __init__(self, day: dt.date) -> None:
        super().__init__(
            f"{day_text(day)} is in the future; give the day on which it was done.",
            field="done_on",
        )
        self.day = day


class NothingInstalled(Refused):
    def __init__(self, tag: str, day: dt.date) -> None:
        super().__init__(
            f"No transmitter is registered at {tag} on {day_text(day)}. Ask a planner to enter the "
            "installation.",
            field="done_on",
        )
        self.tag, self.day = tag, day


class NotThere(Refused):
    """A record of a transmitter that was not at the point that day."""

    def __init__(self, tag: str, transmitter: Transmitter, day: dt.date) -> None:
        super().__init__(
            f"{transmitter} was not at {tag} on {day_text(day)}. Choose the transmitter that was "
            "calibrated, or correct the day.",
            field="transmitter",
        )
        self.tag, self.transmitter, self.day = tag, transmitter, day


class NoStandard(Refused):
    def __init__(self) -> None:
        super().__init__(
            "Name at least one reference standard; without it the result is not traceable.",
            field="standards",
        )


class StandardOfAnotherSite(Refused):
    def __init__(self, standard: ReferenceStandard | None) -> None:
        super().__init__(
            f"{standard or 'A standard that was named'} belongs to another site; use a standard "
            "of this one.",
            field="standards",
        )
        self.standard = standard


class NoValidCertificate(Refused):
    def __init__(self, standard: ReferenceStandard, day: dt.date) -> None:
        super().__init__(
            f"{standard} has no valid certificate on {day_text(day)}. Use another standard, or "
            "enter its new certificate.",
            field="standards",
        )
        self.standard, self.day = standard, day


class StandardOutOfRange(Refused):
    def __init__(self, standard: ReferenceStandard, why: str) -> None:
        super().__init__(f"{standard}: {why} Use another standard.", field="standards")
        self.standard, self.why = standard, why


class StandardNotCounted(Refused):
    """A standard that was listed, but of which no part of the uncertainty can be made, and for
    which no step asks. ``why`` stands beside it where kits are chosen.
    """

    what_to_do = "Take it off the list of standards."

    def __init__(self, standard: ReferenceStandard, why: str) -> None:
        super().__init__(f"{standard}: {why} {self.what_to_do}", field="standards")
        self.standard, self.why = standard, why


class StandardNotUsed(StandardNotCounted):
    """No figure of a test by that way rests on its kind, and no step asks for what it measures."""

    what_to_do = (
        "No error of this record rests on it, and no step of the procedure asks for what it "
        "measures: take it off the list of standards, and write what it showed into the note."
    )

    def __init__(self, standard: ReferenceStandard, kind: str, way: str) -> None:
        super().__init__(standard, f"{kind.capitalize()}: not used for {way}.")
        self.kind, self.way = kind, way


class UnitOfNoUse(StandardNotCounted):
    """``known``: the units that would serve."""

    what_to_do = "Use another standard, or enter its certificate in that unit."

    def __init__(
        self, standard: ReferenceStandard, unit: str, known: list[str], output_unit: str = ""
    ) -> None:
        needed = f"the output is in {output_unit}" if output_unit else f"{known[0]} is needed"
        super().__init__(standard, f"Its certificate is in {unit}; {needed}.")
        self.unit, self.known = unit, known


class AccuracyNotStated(StandardNotCounted):
    what_to_do = (
        "Use another standard; or withdraw this certificate and enter it with its U and k, or its "
        "accuracy."
    )

    def __init__(self, standard: ReferenceStandard, certificate: StandardCertificate) -> None:
        super().__init__(
            standard, f"Certificate {certificate.number} states neither an accuracy nor U and k."
        )
        self.certificate = certificate


class RangeNotStated(StandardNotCounted):
    what_to_do = (
        "Use another standard; or withdraw this certificate and enter it with the range it covers."
    )

    def __init__(self, standard: ReferenceStandard, certificate: StandardCertificate) -> None:
        super().__init__(
            standard,
            f"Certificate {certificate.number} states its accuracy in % of range, and no range.",
        )
        self.certificate = certificate


class ReadingsMissing(Refused):
    """``stage``: the one that is missing; "" where neither as found nor as left was read."""

    TEXTS = {
        "as it stands": (
            "Read it as it stands before anything is moved: one applied value and one output. "
            "If that was impossible, say why under “Why as found is missing”.",
            "as_it_stands",
        ),
        "as found": (
            "As-found readings are missing. Take them, or say why that was impossible.",
            "no_as_found_reason",
        ),
        "as left": ("It was adjusted, so as-left readings are needed.", "as_left"),
        "": (
            "A record needs readings: as found, or as left with the reason why as found is "
            "missing. As it stands it shows neither a failure nor an error beyond the tolerance, "
            "which alone would do.",
            "as_left",
        ),
    }

    def __init__(self, stage: str) -> None:
        text, field = self.TEXTS[stage]
        super().__init__(text, field=field)
        self.stage = stage


class StoredWithOtherEntries(Refused):
    """The same submission came before, with other content: ``record``."""

    def __init__(self, record: Calibration) -> None:
        super().__init__(
            f"This form was already stored as record {record.pk}, with other entries. Open that "
            "record; start a new form if something must be corrected."
        )
        self.record = record


class JobClosed(Refused):
    def __init__(self, job: Job) -> None:
        super().__init__(
            f"The job of {job.point.tag} is {job.get_state_display()}: it takes no further record. "
            "Your entries are kept here."
        )
        self.job = job


class NotApproved(Refused):
    def __init__(self, record: Calibration) -> None:
        super().__init__(
            f"{record} is {record.get_state_display()}; only an approved record is amended."
        )
        self.record = record


class AlreadyAmended(Refused):
    def __init__(self, record: Calibration, amendment: Calibration) -> None:
        super().__init__(
            f"{record} already has an amendment (record {amendment.pk}); amend that one."
        )
        self.record, self.amendment = record, amendment


class NoReason(Refused):
    def __init__(self) -> None:
        super().__init__("Say why the record is amended.", field="reason")
