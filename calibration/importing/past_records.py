"""The rows of a file put together to past records, and each record checked by itself."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from calibration.importing.calibration_columns import OF_RECORD
from calibration.importing.known import Known
from calibration.importing.past_readings import STAGES, readings_of
from calibration.procedures.models import ProcedureVersion
from calibration.records.bands import in_failure_band
from calibration.records.entry import ReadingEntry, ReadingWithoutLevel
from calibration.records.refusals import StandardNotCounted
from calibration.records.standard_uses import check_use
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.importing.columns import Parsed
from plant.importing.importer import Context
from plant.importing.rows import value_text
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter


@dataclass
class PastRecord:
    """One record of the file: the places of its rows, its values, and what they stand for in the
    register.
    """

    key: str
    places: list[int]
    values: dict[str, Any] = field(default_factory=dict)
    point: MeasuringPoint | None = None
    transmitter: Transmitter | None = None
    version: ProcedureVersion | None = None
    certificates: list[tuple[ReferenceStandard, StandardCertificate]] = field(default_factory=list)
    readings: dict[str, list[ReadingEntry]] = field(default_factory=dict)
    without_level: list[ReadingWithoutLevel] = field(default_factory=list)

    @property
    def first(self) -> int:
        return self.places[0]

    @property
    def digest(self) -> str:
        """Hash of all the file says, so that the same record is known again whatever the order of
        columns.
        """
        rows = [
            [
                r.stage,
                r.run,
                r.sequence,
                r.rising,
                value_text(r.applied),
                value_text(r.observed),
                value_text(r.indication),
            ]
            for readings in self.readings.values()
            for r in readings
        ]
        rows += [
            [STAGES[0], r.sequence, r.why, value_text(r.observed), value_text(r.indication)]
            for r in self.without_level
        ]
        values = {name: _plain(value) for name, value in sorted(self.values.items())}
        text = json.dumps([self.key, values, rows], ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def read_records(parsed: Parsed, context: Context) -> list[PastRecord]:
    """The records of the file; what is wrong with them is noted in ``parsed``."""
    records = [_record_of(parsed, key, places) for key, places in _grouped(parsed).items()]
    known = Known(context.site, records)
    for record in records:
        _check_days(parsed, record, context.today)
        _check_people(parsed, record)
        _find_place(parsed, record, known)
        _find_papers(parsed, record, known)
        _check_standards(parsed, record)
        _read_readings(parsed, record)
        _check_stages(parsed, record)
    return records


def _grouped(parsed: Parsed) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = defaultdict(list)
    for place, key in enumerate(parsed.column("record")):
        if key is not None:
            groups[key].append(place)
    return groups


def _record_of(parsed: Parsed, key: str, places: list[int]) -> PastRecord:
    """What the rows say of the record as a whole; where two rows say different things, both cannot
    be right.
    """
    values: dict[str, Any] = {}
    for name in OF_RECORD:
        column = parsed.column(name)
        for place in places:
            value = column[place]
            if value is None:
                continue
            if values.setdefault(name, value) != value:
                reason = f"differs from an earlier row of record {key} ({_shown(values[name])})"
                parsed.refuse(place, name, reason)
    return PastRecord(key, places, values)


def _check_days(parsed: Parsed, record: PastRecord, today: dt.date) -> None:
    done, approved = record.values.get("done_on"), record.values.get("approved_on")
    for name, day in (("done_on", done), ("approved_on", approved)):
        if day and day > today:
            parsed.refuse(record.first, name, "lies in the future")
    if done and approved and approved < done:
        parsed.refuse(record.first, "approved_on", "lies before the day of the calibration")


def _check_people(parsed: Parsed, record: PastRecord) -> None:
    names = [record.values.get(name, "").casefold() for name in ("performed_by", "approved_by")]
    if names[0] and names[0] == names[1]:
        parsed.refuse(
            record.first, "approved_by", "is who performed it; nobody approves their own work"
        )


def _find_place(parsed: Parsed, record: PastRecord, known: Known) -> None:
    """The measuring point, and the transmitter that was installed there that day."""
    tag, serial, day = (record.values.get(name) for name in ("tag", "serial", "done_on"))
    if tag is None:
        return
    record.point = known.points.get(tag)
    if record.point is None:
        parsed.refuse(
            record.first, "tag", f"is no measuring point of this site{known.nearest_tag(tag)}"
        )
        return
    if serial is None or day is None:
        return
    record.transmitter = known.installed(tag, serial, day)
    if record.transmitter is None:
        parsed.refuse(record.first, "serial", known.who_was_installed(tag, day))


def _find_papers(parsed: Parsed, record: PastRecord, known: Known) -> None:
    """The procedure, and for each standard the certificate that covers the day."""
    key, day = record.values.get("procedure"), record.values.get("done_on")
    if key is not None and day is not None:
        record.version = known.version(key, day)
        if record.version is None:
            parsed.refuse(record.first, "procedure", known.why_no_version(key, day))
    if day is None:
        return
    for name in record.values.get("standards", ()):
        pair = known.certified(name, day, record.point, record.values.get("way"), record.version)
        if isinstance(pair, str):
            parsed.refuse(record.first, "standards", pair)
        else:
            record.certificates.append(pair)


def _check_standards(parsed: Parsed, record: PastRecord) -> None:
    """Each standard is of use, as in a record of today."""
    way = record.values.get("way")
    if record.point is None or way is None:
        return
    reasons = []
    for standard, certificate in record.certificates:
        try:
            check_use(standard, certificate, record.point, way, record.version)
        except StandardNotCounted as refusal:
            reasons.append(str(refusal))
    if reasons:
        parsed.refuse(record.first, "standards", " ".join(reasons))


# ---- readings ----
def _read_readings(parsed: Parsed, record: PastRecord) -> None:
    record.readings = {stage: [] for stage in STAGES}
    for row in readings_of(parsed, record.point, record.places, key=record.key):
        if isinstance(row, ReadingWithoutLevel):
            record.without_level.append(row)
        else:
            record.readings[row.stage].append(row)


def _check_stages(parsed: Parsed, record: PastRecord) -> None:
    """Past work may lack the reading as it stands; as found only with its reason, as left never
    once adjusted. A failure as it stands is a result by itself.
    """
    if record.point is None or any(
        (place, name) in parsed.wrong
        for place in record.places
        for name in ("stage", "applied", "observed", "no_level_reason")
    ):
        return
    if not record.readings["as found"] and "no_as_found_reason" not in record.values:
        reason = f"record {record.key} has no as-found readings; say why, or add them"
        parsed.refuse(record.first, "no_as_found_reason", reason)
    if record.values.get("adjusted") and not record.readings["as left"]:
        reason = f"record {record.key} was adjusted, so it needs as-left readings"
        parsed.refuse(record.first, "adjusted", reason)
    standing, found, left = (record.readings[stage] for stage in STAGES)
    signal = record.point.signal
    is_dead = any(in_failure_band(reading, signal) for reading in standing) or any(
        in_failure_band(reading, signal) for reading in record.without_level
    )
    if not found and not left and not is_dead:
        reason = (
            f"record {record.key} has readings neither as found nor as left, and as it stands it "
            "shows no failure; add them"
        )
        parsed.refuse(record.first, "stage", reason)


def _shown(value: Any) -> str:
    return "; ".join(value) if isinstance(value, tuple) else value_text(value)


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value_text(value)
