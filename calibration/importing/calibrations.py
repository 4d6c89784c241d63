"""Past calibrations against the book: judged as if typed in, stored as approved records.

A record is known by the site and its ``record`` cell: the same again changes nothing, and one that
differs is refused, for an approved record never changes. The range of the day is taken to be the
present one. As-found failures open no
finding: they are history when they come in.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from calibration.drift import trends
from calibration.importing.calibration_columns import CALIBRATIONS, DOWN, OF_RECORD
from calibration.importing.known import Known
from calibration.intervals.due_dates import reschedule
from calibration.policies.models import Policy
from calibration.procedures.models import ProcedureVersion
from calibration.records.budgets import Test
from calibration.records.judging import Judged, Range, judge_test
from calibration.records.models import Adjustment, Calibration, Reading, StandardUse
from calibration.records.sent import SentReading
from calibration.records.submission import figures_of, register_of
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.importing.columns import Parsed
from plant.importing.importer import Change, Context, Importer, Outcome
from plant.importing.rows import said
from plant.importing.staging import copy_models, number
from plant.level import units
from plant.level.signals import SIGNALS
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter

NAMESPACE = uuid.UUID("6c1f6f0e-0d5a-5f0b-9f0e-5b1d2a7c9e43")
NOON = dt.time(12)
STAGES = tuple(Reading.Stage.values)


@dataclass
class Told:
    """One record of the file: the places of its rows, what it says of itself, and what the book
    knows of that.
    """

    key: str
    places: list[int]
    facts: dict[str, Any] = field(default_factory=dict)
    point: MeasuringPoint | None = None
    transmitter: Transmitter | None = None
    version: ProcedureVersion | None = None
    certificates: list[tuple[ReferenceStandard, StandardCertificate]] = field(default_factory=list)
    readings: dict[str, list[SentReading]] = field(default_factory=dict)

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
                said(r.applied),
                said(r.observed),
                said(r.indication),
            ]
            for readings in self.readings.values()
            for r in readings
        ]
        facts = {name: _plain(value) for name, value in sorted(self.facts.items())}
        text = json.dumps([self.key, facts, rows], ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def submission_of(site_code: str, key: str) -> uuid.UUID:
    """The id under which an imported record is known: of its site's code and its key in the
    file.
    """
    return uuid.uuid5(NAMESPACE, f"{site_code}\n{key}")


def _check(parsed: Parsed, context: Context) -> Outcome:
    told = [_facts(parsed, key, places) for key, places in _grouped(parsed).items()]
    known = Known(context.site, told)
    for record in told:
        _check_days(parsed, record, context.today)
        _check_people(parsed, record)
        _find_place(parsed, record, known)
        _find_papers(parsed, record, known)
        _read_readings(parsed, record)
        _check_stages(parsed, record)
    return Outcome() if parsed.problems else _compare(parsed, told, context)


def _grouped(parsed: Parsed) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = defaultdict(list)
    for place, key in enumerate(parsed.column("record")):
        if key is not None:
            groups[key].append(place)
    return groups


def _facts(parsed: Parsed, key: str, places: list[int]) -> Told:
    """What the rows say of the record as a whole; where two rows say different things, both cannot
    be right.
    """
    facts: dict[str, Any] = {}
    for name in OF_RECORD:
        column = parsed.column(name)
        for place in places:
            value = column[place]
            if value is None:
                continue
            if facts.setdefault(name, value) != value:
                reason = f"differs from an earlier row of record {key} ({_shown(facts[name])})"
                parsed.refuse(place, name, reason)
    return Told(key, places, facts)


def _check_days(parsed: Parsed, told: Told, today: dt.date) -> None:
    done, approved = told.facts.get("done_on"), told.facts.get("approved_on")
    for name, day in (("done_on", done), ("approved_on", approved)):
        if day and day > today:
            parsed.refuse(told.first, name, "lies in the future")
    if done and approved and approved < done:
        parsed.refuse(told.first, "approved_on", "lies before the day of the calibration")


def _check_people(parsed: Parsed, told: Told) -> None:
    names = [told.facts.get(name, "").casefold() for name in ("performed_by", "approved_by")]
    if names[0] and names[0] == names[1]:
        parsed.refuse(
            told.first, "approved_by", "is who performed it; nobody approves their own work"
        )


def _find_place(parsed: Parsed, told: Told, known: Known) -> None:
    """The measuring point, and the transmitter that hung there that day."""
    tag, serial, day = (told.facts.get(name) for name in ("tag", "serial", "done_on"))
    if tag is None:
        return
    told.point = known.points.get(tag)
    if told.point is None:
        parsed.refuse(
            told.first, "tag", f"is no measuring point of this site{known.nearest_tag(tag)}"
        )
        return
    if serial is None or day is None:
        return
    told.transmitter = known.hanging(tag, serial, day)
    if told.transmitter is None:
        parsed.refuse(told.first, "serial", known.who_hung(tag, day))


def _find_papers(parsed: Parsed, told: Told, known: Known) -> None:
    """The procedure, and for each standard the certificate that covers the day."""
    key, day = told.facts.get("procedure"), told.facts.get("done_on")
    if key is not None and day is not None:
        told.version = known.version(key, day)
        if told.version is None:
            parsed.refuse(told.first, "procedure", known.why_no_version(key, day))
    if day is None:
        return
    for name in told.facts.get("standards", ()):
        pair = known.certified(name, day)
        if isinstance(pair, str):
            parsed.refuse(told.first, "standards", pair)
        else:
            told.certificates.append(pair)


# ---- readings ----
def _read_readings(parsed: Parsed, told: Told) -> None:
    told.readings = {stage: [] for stage in STAGES}
    seen: set[tuple[str, int, int]] = set()
    for place in told.places:
        reading = _reading(parsed, told, place)
        if reading is None:
            continue
        where = (reading.stage, reading.run, reading.sequence)
        if where in seen:
            reason = f"stands twice in record {told.key}, {reading.stage}, run {reading.run}"
            parsed.refuse(place, "sequence", reason)
        seen.add(where)
        told.readings[reading.stage].append(reading)


def _reading(parsed: Parsed, told: Told, place: int) -> SentReading | None:
    stage, applied = parsed.column("stage")[place], parsed.column("applied")[place]
    observed, indication = parsed.column("observed")[place], parsed.column("indication")[place]
    if observed is None and indication is None:
        reason = "is missing; a reading has an observed output or an indication"
        parsed.refuse(place, "observed", reason)
    if told.point is None or stage is None or applied is None:
        return None
    if observed is not None:
        _check_signal(parsed, told.point, place)
    applied = _in_units_of(parsed, told.point, place, "applied")
    indication = _in_units_of(parsed, told.point, place, "indication")
    if applied is None or (observed is None and indication is None):
        return None
    return SentReading(
        stage=stage,
        sequence=parsed.column("sequence")[place] or len(told.readings[stage]) + 1,
        applied=applied,
        observed=observed,
        indication=indication,
        rising=parsed.column("direction")[place] != DOWN,
        run=parsed.column("run")[place] or 1,
    )


def _check_signal(parsed: Parsed, point: MeasuringPoint, place: int) -> None:
    unit, output = parsed.column("observed_unit")[place], SIGNALS[point.signal]
    if unit != output.unit:
        reason = f"is in {unit}, but {point.tag} has an output of {point.get_signal_display()}"
        parsed.refuse(place, "observed", reason)


def _in_units_of(parsed: Parsed, point: MeasuringPoint, place: int, name: str) -> Decimal | None:
    """A level or volume in the unit of the point's range, where it has one to five decimals
    there.
    """
    value, unit = parsed.column(name)[place], parsed.column(f"{name}_unit")[place]
    if value is None or unit == point.unit:
        return value
    is_volume = point.quantity == "volume"
    if (unit in units.VOLUME_UNITS) != is_volume:
        parsed.refuse(
            place, name, f"is in {unit}, but {point.tag} indicates {point.quantity} in {point.unit}"
        )
        return None
    to_base, from_base = (
        (units.to_cubic_metres, units.from_cubic_metres)
        if is_volume
        else (units.to_metres, units.from_metres)
    )
    converted = from_base(to_base(value, unit), point.unit)
    if converted != round(converted, 5):
        parsed.refuse(
            place,
            name,
            f"gives more than 5 decimals in {point.unit}, the unit of {point.tag}; write it in that",
        )
        return None
    return round(converted, 5)


def _check_stages(parsed: Parsed, told: Told) -> None:
    """Past work may lack the reading as it stands; as found only with its reason, as left never
    once adjusted.
    """
    if told.point is None or any(
        (place, name) in parsed.wrong
        for place in told.places
        for name in ("stage", "applied", "observed")
    ):
        return
    if not told.readings["as found"] and "no_as_found_reason" not in told.facts:
        reason = f"record {told.key} has no as-found readings; say why, or add them"
        parsed.refuse(told.first, "no_as_found_reason", reason)
    if told.facts.get("adjusted") and not told.readings["as left"]:
        reason = f"record {told.key} was adjusted, so it needs as-left readings"
        parsed.refuse(told.first, "adjusted", reason)
    if not told.readings["as found"] and not told.readings["as left"]:
        parsed.refuse(
            told.first, "stage", f"record {told.key} has readings neither as found nor as left"
        )


# ---- what is new ----
def _compare(parsed: Parsed, told: list[Told], context: Context) -> Outcome:
    outcome = Outcome(plan=[])
    ids = {submission_of(context.site.code, record.key): record for record in told}
    stored = dict(
        Calibration.objects.filter(submission__in=ids).values_list("submission", "content_sha256")
    )
    for submission, record in ids.items():
        if submission not in stored:
            outcome.plan.append(record)
            outcome.count(Change(parsed.rows[record.first], record.key, True, _summary(record)))
        elif stored[submission] == record.digest:
            outcome.count(None)
        else:
            reason = (
                "was imported before with other contents; an approved record never changes: "
                "amend it on its page"
            )
            parsed.refuse(record.first, "record", reason)
    return outcome


def _summary(told: Told) -> dict[str, list[str]]:
    counts = {stage: len(readings) for stage, readings in told.readings.items() if readings}
    return {
        "tag": ["", told.facts["tag"]],
        "day": ["", told.facts["done_on"].isoformat()],
        "readings": ["", ", ".join(f"{count} {stage}" for stage, count in counts.items())],
    }


# ---- writing ----
def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    """Records with their parts by COPY, in one transaction as the database asks; then due dates and
    trends.
    """
    told: list[Told] = outcome.plan
    people = Known.people(context.site)
    points = {one.point.pk: one.point for one in told if one.point}
    policies = Policy.objects.of_points(points.values())
    records = [_record(record, context, people, policies) for record in told]
    number([record for record, _ in records])
    readings = [reading for record, judged in records for reading in _parts(record, judged)]
    adjustments = [
        Adjustment(record=record, number=n, kind=kind)
        for (record, _), one in zip(records, told, strict=True)
        for n, kind in enumerate(one.facts.get("adjusted", ()), 1)
    ]
    uses = [
        StandardUse(record=record, standard=standard, certificate=certificate)
        for (record, _), one in zip(records, told, strict=True)
        for standard, certificate in one.certificates
    ]
    for rows in (readings, adjustments, uses):
        number(rows)
    copy_models([record for record, _ in records])
    for rows in (readings, adjustments, uses):
        copy_models(rows)
    touched = sorted({record.point_id for record, _ in records})
    reschedule(touched)
    trends.refit(touched)


def _parts(record: Calibration, judged: list[Judged]) -> list[Reading]:
    readings = [reading for stage in judged for reading in stage.readings]
    for reading in readings:
        reading.record = record
    return readings


def _record(
    told: Told, context: Context, people: dict[str, int], policies: dict[int, Policy]
) -> tuple[Calibration, list[Judged]]:
    point, transmitter = told.point, told.transmitter
    if point is None or transmitter is None:
        raise ValueError(f"record {told.key} was not checked")
    against = Range(float(point.lower), float(point.upper), point.signal, point.limits.percent)
    facts = told.facts
    test = Test(
        point,
        transmitter,
        facts["way"],
        told.certificates,
        facts.get("ambient_c"),
        facts.get("product_c"),
    )
    judged, doubt = judge_test(told.readings, against, test, policies[point.pk])
    found, left = judged["as found"], judged["as left"]
    done, approved = facts["done_on"], facts.get("approved_on") or facts["done_on"]
    record = Calibration(
        site=context.site,
        point=point,
        transmitter=transmitter,
        procedure_version=told.version,
        source=Calibration.Source.IMPORTED,
        state=Calibration.State.APPROVED,
        submission=submission_of(context.site.code, told.key),
        content_sha256=told.digest,
        submitted_at=_noon(done, context),
        done_on=done,
        performed_by_id=people.get(facts["performed_by"].casefold()),
        performed_by_name=facts["performed_by"],
        approved_by_id=people.get(facts["approved_by"].casefold()),
        approved_by_name=facts["approved_by"],
        approved_at=_noon(approved, context),
        way=facts["way"],
        ambient_c=facts.get("ambient_c"),
        product_c=facts.get("product_c"),
        no_as_found_reason=facts.get("no_as_found_reason", ""),
        note=facts.get("note", ""),
        adjusted=bool(facts.get("adjusted")),
        shows_failure=found.shows_failure or left.shows_failure,
        **register_of(point, transmitter),
        **doubt,
        **figures_of("found", found),
        **figures_of("left", left if left.readings else found),  # not adjusted: as left is as found
    )
    return record, [judged[stage] for stage in STAGES]


def _noon(day: dt.date, context: Context) -> dt.datetime:
    """Papers tell the day, not the hour."""
    return dt.datetime.combine(day, NOON, tzinfo=context.site.zone)


def _shown(value: Any) -> str:
    return "; ".join(value) if isinstance(value, tuple) else said(value)


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else said(value)


CALIBRATION_IMPORTER = Importer(CALIBRATIONS, _check, _write)
