"""A record of a transmitter found failed, in words: where its output stood, and what could not be
known.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import JSONObject

from calibration.records.models import Calibration, Reading
from calibration.records.models.readings import FAILURES
from plant.level.signals import SIGNALS, FaultBand, failure_limit
from plant.points.models import MeasuringPoint
from plant.quantities import with_unit

Stage = Reading.Stage
SHOWN = 5


@dataclass(frozen=True)
class StoodFailed:
    """An output in a failure band as it stood; the reasons why no level was known and why as found
    is missing, "" where they are known.
    """

    observed: Decimal
    band: str
    signal: str
    no_level_reason: str = ""
    no_as_found_reason: str = ""

    def __str__(self) -> str:
        return f"Failed as it stood: {self.details}"

    @property
    def details(self) -> str:
        """What stands beside the words “failed as it stood”."""
        parts = [self.output]
        if self.no_level_reason:
            parts.append(f"level not known: {self.no_level_reason}")
        if self.no_as_found_reason:
            parts.append(f"no as found possible: {self.no_as_found_reason}")
        return "; ".join(parts)

    @property
    def output(self) -> str:
        """``output at 3.4 mA, below 3.6 mA``"""
        band, signal = FaultBand(self.band), SIGNALS[self.signal]
        limit = Decimal(str(failure_limit(band, signal)))
        words = ("below", "not above") if band == FaultBand.FAILURE_LOW else ("above", "not below")
        side = words[self.observed == limit]
        return (
            f"output at {_output(self.observed, signal.unit)}, {side} {_output(limit, signal.unit)}"
        )


def _output(value: Decimal, unit: str) -> str:
    """With the digits that were typed."""
    return with_unit(f"{value.normalize():f}", unit)


def stood_failed(
    readings: Sequence[Reading], *, signal: str, no_as_found_reason: str
) -> StoodFailed | None:
    """Of a record's readings; None where it did not stand in a failure band."""
    standing = (r for r in readings if r.stage == Stage.AS_IT_STANDS and r.band in FAILURES)
    failed = next(standing, None)
    if failed is None or failed.observed is None:
        return None
    has_found = any(r.stage == Stage.AS_FOUND for r in readings)
    why = "" if has_found else no_as_found_reason
    return StoodFailed(failed.observed, failed.band, signal, failed.no_level_reason, why)


# ---- of many records ----
def with_standing_failure(records: QuerySet[Calibration]) -> QuerySet[Calibration]:
    """Each with the output in a failure band as it stood (JSON or None), and whether as found was
    read: what ``stored_failure`` takes.
    """
    of_record = Reading.objects.filter(record=OuterRef("pk"))
    failed = of_record.filter(stage=Stage.AS_IT_STANDS, band__in=FAILURES).order_by("sequence")
    output = JSONObject(observed="observed", band="band", no_level_reason="no_level_reason")
    return records.annotate(
        standing_failure=Subquery(failed.values(json=output)[:1]),
        has_found=Exists(of_record.filter(stage=Stage.AS_FOUND)),
    )


def stored_failure(row: dict[str, Any]) -> StoodFailed | None:
    """Of the values of a record from ``with_standing_failure``."""
    held = row["standing_failure"]
    if held is None:
        return None
    why = "" if row["has_found"] else row["no_as_found_reason"]
    observed = Decimal(str(held["observed"]))
    return StoodFailed(observed, held["band"], row["signal"], held["no_level_reason"], why)


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
    wanted = ("pk", "done_on", "signal", "no_as_found_reason", "standing_failure", "has_found")
    rows = with_standing_failure(records).values(*wanted)[:SHOWN]
    return list(_failed(rows))


def _failed(rows: Sequence[dict[str, Any]]) -> Iterator[FailedRecord]:
    for row in rows:
        stood = stored_failure(row)
        text = str(stood) if stood else "A reading was in a failure band (NE 43)"
        yield FailedRecord(row["pk"], row["done_on"], f"{text}.")
