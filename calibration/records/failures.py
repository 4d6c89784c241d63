"""A record that what a transmitter stood at decides, in words: a failure, or an error beyond the
tolerance where nothing more could be read; and what could not be known.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Case, Exists, OuterRef, QuerySet, Subquery, When
from django.db.models.functions import JSONObject

from calibration.records.models import Calibration, Reading
from calibration.records.models.readings import FAILURES
from plant.level.signals import SIGNALS, FaultBand, failure_limit
from plant.points.models import MeasuringPoint
from plant.quantities import percent_of_span, with_unit

Stage = Reading.Stage
SHOWN = 5


FAILED, OUT = "Failed as it stood", "Out of tolerance as it stood"


@dataclass(frozen=True)
class Stood:
    """How a transmitter stood, where that alone decides: ``head`` in a word, ``what`` was read, and
    the reasons why no level was known and why as found is missing, "" where they are known.
    """

    head: str
    what: str
    no_level_reason: str = ""
    no_as_found_reason: str = ""

    def __str__(self) -> str:
        return f"{self.head}: {self.details}"

    @property
    def details(self) -> str:
        """What stands beside the head."""
        parts = [self.what]
        if self.no_level_reason:
            parts.append(f"level not known: {self.no_level_reason}")
        if self.no_as_found_reason:
            parts.append(f"no as found possible: {self.no_as_found_reason}")
        return "; ".join(parts)


def output_text(observed: Decimal, band: str, signal: str) -> str:
    """An output in a failure band: ``output at 3.4 mA, below 3.6 mA``, with the digits as typed."""
    output = SIGNALS[signal]
    limit = Decimal(str(failure_limit(FaultBand(band), output)))
    words = ("below", "not above") if band == FaultBand.FAILURE_LOW else ("above", "not below")
    side = words[observed == limit]
    return f"output at {_digits(observed, output.unit)}, {side} {_digits(limit, output.unit)}"


def _digits(value: Decimal, unit: str) -> str:
    return with_unit(f"{value.normalize():f}", unit)


def stood_failed(
    readings: Sequence[Reading], *, signal: str, tolerance_percent: float, no_as_found_reason: str
) -> Stood | None:
    """Of a record's readings: where it stood in a failure band, whatever was read after; or out of
    tolerance, where as found could not be read. None where what it stood at decides nothing.
    """
    has_found = any(r.stage == Stage.AS_FOUND for r in readings)
    failing = [r for r in readings if r.stage == Stage.AS_IT_STANDS and r.verdict == "fail"]
    reading = min(failing, key=lambda r: r.band not in FAILURES, default=None)
    if reading is None:
        return None
    facts = {
        "observed": reading.observed,
        "band": reading.band,
        "error": reading.error_percent,
        "no_level_reason": reading.no_level_reason,
    }
    why = "" if has_found else no_as_found_reason
    return _stood(facts, signal, tolerance_percent, has_found=has_found, why=why)


def _stood(
    facts: dict[str, Any], signal: str, tolerance: float, *, has_found: bool, why: str
) -> Stood | None:
    if facts["band"] in FAILURES:
        output = output_text(Decimal(str(facts["observed"])), facts["band"], signal)
        return Stood(FAILED, output, facts["no_level_reason"], why)
    if has_found:
        return None
    return Stood(OUT, f"error {percent_of_span(facts['error'], tolerance)}", "", why)


def stood_of(record: Calibration, readings: Sequence[Reading]) -> Stood | None:
    """Of a stored record with its readings."""
    return stood_failed(
        readings,
        signal=record.signal,
        tolerance_percent=record.tolerance_percent,
        no_as_found_reason=record.no_as_found_reason,
    )


# ---- of many records ----
# What with_standing_failure and stored_failure need of a record.
STOOD_FIELDS = ("signal", "tolerance_percent", "no_as_found_reason", "stands", "has_found")


def with_standing_failure(records: QuerySet[Calibration]) -> QuerySet[Calibration]:
    """Each with the worst failing reading as it stands (JSON or None), and whether as found was
    read: what ``stored_failure`` takes.
    """
    of_record = Reading.objects.filter(record=OuterRef("pk"))
    failing = of_record.filter(stage=Stage.AS_IT_STANDS, verdict="fail")
    worst_first = failing.order_by(Case(When(band__in=FAILURES, then=0), default=1), "sequence")
    facts = JSONObject(
        observed="observed", band="band", error="error_percent", no_level_reason="no_level_reason"
    )
    return records.annotate(
        stands=Subquery(worst_first.values(json=facts)[:1]),
        has_found=Exists(of_record.filter(stage=Stage.AS_FOUND)),
    )


def stored_failure(row: dict[str, Any]) -> Stood | None:
    """Of the values STOOD_FIELDS of a record from ``with_standing_failure``."""
    facts, has_found = row["stands"], row["has_found"]
    if facts is None:
        return None
    why = "" if has_found else row["no_as_found_reason"]
    tolerance = row["tolerance_percent"]
    return _stood(facts, row["signal"], tolerance, has_found=has_found, why=why)


@dataclass(frozen=True)
class FailedRecord:
    """A record that shows a failure, and so is no part of a trend."""

    record_id: int
    day: dt.date
    text: str


def failed_records(point: MeasuringPoint) -> list[FailedRecord]:
    """The last standing records of the point that show a failure of the transmitter there now (one
    query).
    """
    records = Calibration.objects.standing().filter(
        point=point,
        shows_failure=True,
        transmitter__installations__point=point,
        transmitter__installations__removed_on=None,
    )
    rows = with_standing_failure(records).values("pk", "done_on", *STOOD_FIELDS)[:SHOWN]
    return list(_failed(rows))


def _failed(rows: Sequence[dict[str, Any]]) -> Iterator[FailedRecord]:
    for row in rows:
        stood = stored_failure(row)
        text = str(stood) if stood else "A reading was in a failure band (NE 43)"
        yield FailedRecord(row["pk"], row["done_on"], f"{text}.")
