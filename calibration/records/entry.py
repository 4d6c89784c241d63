"""What a technician enters of one calibration: readings, adjustments, steps as taken; and the hash
of its content.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any, ClassVar

from calibration.procedures.models import ProcedureVersion
from calibration.records.models import Calibration
from calibration.standards.models import ReferenceStandard
from plant.people.models import Person
from plant.transmitters.models import Transmitter


@dataclass(frozen=True)
class ReadingEntry:
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
class ReadingWithoutLevel:
    """A reading as it stands where no level could be known, and why; digits as typed."""

    stage: ClassVar[str] = "as it stands"
    run: ClassVar[int] = 1

    sequence: int
    observed: Decimal | None
    indication: Decimal | None
    why: str
    # By the tablet's clock; None where it was typed in later.
    read_at: dt.datetime | None = None

    def __post_init__(self) -> None:
        if self.observed is None and self.indication is None:
            raise ValueError(
                f"reading {self.sequence}: neither an output nor an indication was read"
            )
        if not self.why.strip():
            raise ValueError(f"reading {self.sequence}: no level, and no reason why")


@dataclass(frozen=True)
class AdjustmentEntry:
    kind: str
    before: Decimal | None = None
    after: Decimal | None = None
    note: str = ""
    adjusted_at: dt.datetime | None = None


@dataclass(frozen=True)
class StepEntry:
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
class RecordEntry:
    """Values as typed, in the point's unit and the signal's unit.

    Of ``standards`` the keys count; what the register says of them is read when the record is
    stored.
    """

    done_on: dt.date
    way: str
    procedure_version: ProcedureVersion
    readings: Sequence[ReadingEntry]
    standards: Sequence[ReferenceStandard]
    adjustments: Sequence[AdjustmentEntry] = ()
    ambient_c: Decimal | None = None
    product_c: Decimal | None = None
    no_as_found_reason: str = ""
    note: str = ""
    source: str = Calibration.Source.TYPED
    steps: Sequence[StepEntry] = ()
    without_level: Sequence[ReadingWithoutLevel] = ()
    # None: the one that was at the point that day.
    transmitter: Transmitter | None = None

    def stage(self, name: str) -> list[ReadingEntry]:
        return [r for r in self.readings if r.stage == name]


@dataclass(frozen=True)
class Submission:
    """Who sends an entry, and when; ``id``: made by the sender, so that the same sent again is
    known; ``digest``: the hash of the entry.
    """

    id: uuid.UUID
    digest: str
    by: Person
    at: dt.datetime


def content_hash(entry: RecordEntry, *, on: str, by: Person) -> str:
    """SHA-256 of everything that was sent, in one fixed text form: keys sorted, digits as typed."""
    content: dict[str, Any] = {
        "on": on,
        "by": by.pk,
        "done on": entry.done_on.isoformat(),
        "way": entry.way,
        "procedure version": entry.procedure_version.pk,
        "readings": [_as_typed(r) for r in entry.readings],
        "adjustments": [_as_typed(a) for a in entry.adjustments],
        "standards": sorted(s.pk for s in entry.standards),
        "ambient": entry.ambient_c,
        "product": entry.product_c,
        "no as found": entry.no_as_found_reason,
        "note": entry.note,
    }
    if entry.source != Calibration.Source.TYPED:
        content["source"] = entry.source
    if entry.steps:
        content["steps"] = [asdict(step) for step in entry.steps]
    if entry.transmitter:
        content["transmitter"] = entry.transmitter.pk
    if entry.without_level:
        content["without level"] = [_as_typed(r) for r in entry.without_level]
    text = json.dumps(
        content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str
    )
    return hashlib.sha256(text.encode()).hexdigest()


def _as_typed(part: ReadingEntry | ReadingWithoutLevel | AdjustmentEntry) -> dict[str, Any]:
    """Times only where there are any, so that what was hashed without them keeps its hash."""
    values = asdict(part)
    for name in ("read_at", "adjusted_at"):
        if values.get(name, "") is None:
            del values[name]
    return values
