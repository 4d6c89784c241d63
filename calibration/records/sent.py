"""What a technician sends of one calibration: readings, adjustments, steps as taken; and the hash
of its content.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from calibration.procedures.models import ProcedureVersion
from calibration.records.models import Calibration
from calibration.standards.models import ReferenceStandard
from plant.people.models import Person


@dataclass(frozen=True)
class SentReading:
    """A reading as typed: ``applied`` and ``indication`` in the point's unit, ``observed`` in mA or
    V.
    """

    stage: str
    sequence: int
    applied: Decimal
    observed: Decimal | None
    indication: Decimal | None = None
    rising: bool = True
    run: int = 1
    origin: str = "read"
    # By the tablet's clock; None where it was typed in later.
    read_at: dt.datetime | None = None

    def __post_init__(self) -> None:
        if self.observed is None and self.indication is None:
            raise ValueError(
                f"{self.stage} {self.sequence}: neither an output nor an indication was read"
            )


@dataclass(frozen=True)
class SentAdjustment:
    kind: str
    before: Decimal | None = None
    after: Decimal | None = None
    note: str = ""
    adjusted_at: dt.datetime | None = None


@dataclass(frozen=True)
class SentStep:
    """A step of the procedure as it was done at ``done_at``, or why it was left out."""

    number: int
    key: str
    kind: str
    text: str
    done_at: dt.datetime | None
    answers: Sequence[dict[str, str]] = ()
    note: str = ""
    skipped_why: str = ""


@dataclass(frozen=True)
class SentRecord:
    """What a technician sends: values as typed, in the point's unit and the signal's unit.

    Of ``standards`` the keys count; what the register says of them is read when the record is
    stored.
    """

    done_on: dt.date
    way: str
    procedure_version: ProcedureVersion
    readings: Sequence[SentReading]
    standards: Sequence[ReferenceStandard]
    adjustments: Sequence[SentAdjustment] = ()
    ambient_c: Decimal | None = None
    product_c: Decimal | None = None
    no_as_found_reason: str = ""
    note: str = ""
    source: str = Calibration.Source.TYPED
    steps: Sequence[SentStep] = ()

    def stage(self, name: str) -> list[SentReading]:
        return [r for r in self.readings if r.stage == name]


def content_hash(sent: SentRecord, *, on: str, by: Person) -> str:
    """SHA-256 of everything that was sent, in one fixed text form: keys sorted, digits as typed."""
    content: dict[str, Any] = {
        "on": on,
        "by": by.pk,
        "done on": sent.done_on.isoformat(),
        "way": sent.way,
        "procedure version": sent.procedure_version.pk,
        "readings": [_given(r) for r in sent.readings],
        "adjustments": [_given(a) for a in sent.adjustments],
        "standards": sorted(s.pk for s in sent.standards),
        "ambient": sent.ambient_c,
        "product": sent.product_c,
        "no as found": sent.no_as_found_reason,
        "note": sent.note,
    }
    if sent.source != Calibration.Source.TYPED:
        content["source"] = sent.source
    if sent.steps:
        content["steps"] = [asdict(step) for step in sent.steps]
    text = json.dumps(
        content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str
    )
    return hashlib.sha256(text.encode()).hexdigest()


def _given(part: SentReading | SentAdjustment) -> dict[str, Any]:
    """Its facts; times only where there are any, so that what was hashed without them keeps its
    hash.
    """
    facts = asdict(part)
    for name in ("read_at", "adjusted_at"):
        if facts.get(name, "") is None:
            del facts[name]
    return facts
