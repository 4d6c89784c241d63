"""Readings and records: sent by a technician, approved, or imported from the past."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

from calibration.approval import acts as approval_acts
from calibration.records import acts as records
from calibration.records.entry import AdjustmentEntry, ReadingEntry, RecordEntry
from calibration.records.models import Calibration
from calibration.standards.models import ReferenceStandard
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.sites.models import Site
from plant.transmitters.models import Installation, Transmitter
from tests.makers.calibration import a_certified_standard, a_job, a_procedure
from tests.makers.plant import LONG_AGO, NOON, TODAY, a_site, an_equipped_point


def a_run(
    errors: list[float], stage: str = "as found", *, lower="0.3", upper="8.3"
) -> list[ReadingEntry]:
    """As many points up and down as ``errors``, with these errors in % of span, 4–20 mA."""
    shape = [0, 25, 50, 75, 100, 75, 50, 25, 0][: len(errors)]
    low, high = Decimal(lower), Decimal(upper)
    return [
        ReadingEntry(
            stage=stage,
            sequence=n,
            applied=low + (high - low) * percent / 100,
            observed=Decimal(str(round(4 + 0.16 * (percent + error), 4))),
            rising=n <= 5,
        )
        for n, (percent, error) in enumerate(zip(shape, errors, strict=False), 1)
    ]


def a_sent_record(
    *,
    found: list[float] | None = None,
    left: list[float] | None = None,
    site: Site | None = None,
    done_on: dt.date = TODAY,
    **more,
) -> RecordEntry:
    """What a technician would send: nine as-found readings, as left when given, one standard."""
    found = [0.1] * 9 if found is None else found
    standing = a_run([found[0] if found else 0.0], "as it stands")
    standard = ReferenceStandard.objects.filter(
        site=site or a_site()
    ).first() or a_certified_standard(site=site)
    facts = {
        "done_on": done_on,
        "way": "wetted level by dip",
        "procedure_version": a_procedure(),
        "readings": [*standing, *a_run(found), *a_run(left or [], "as left")],
        "standards": [standard],
        **more,
    }
    if left:
        facts.setdefault("adjustments", [AdjustmentEntry("zero")])
    return RecordEntry(**facts)


def a_record(
    point: MeasuringPoint | None = None, *, by: Person, at: dt.datetime = NOON, **sent
) -> Calibration:
    """A record waiting for approval."""
    point = point or an_equipped_point()
    job = a_job(point, by=by)
    return records.submit(
        job, a_sent_record(site=point.site, **sent), submission=uuid.uuid4(), by=by, at=at
    ).record


def an_approved_record(
    point: MeasuringPoint | None = None,
    *,
    by: Person,
    approved_by: Person,
    at: dt.datetime = NOON,
    **sent,
) -> Calibration:
    record = a_record(point, by=by, at=at, **sent)
    return approval_acts.approve(
        record, content_sha256=record.content_sha256, by=approved_by, at=at
    )


def a_calibrated_point(tag: str = "LT-101A", **more) -> MeasuringPoint:
    """A point of which nothing speaks but the calendar: its transmitter has a standing result."""
    point = an_equipped_point(tag, **more)
    an_unsaved_record(point, LONG_AGO, point.installations.get().transmitter).save()
    point.refresh_from_db()
    return point


def a_reading(applied: str, observed: Decimal | str, *, stage: str = "as found", **more):
    return ReadingEntry(stage, 1, Decimal(applied), Decimal(observed), **more)


def an_unsaved_record(
    point: MeasuringPoint, done_on: dt.date, transmitter: Transmitter, **more
) -> Calibration:
    """A past record as an import stores it, approved: nothing was moved, ± 1 % of span allowed."""
    facts = {
        "source": "imported",
        "submission": uuid.uuid4(),
        "content_sha256": "0" * 64,
        "submitted_at": NOON,
        "performed_by_name": "T. Quillane",
        "way": "wetted level by dip",
        "tag": point.tag,
        "tank_name": "T-101",
        "serial": transmitter.serial,
        "quantity": point.quantity,
        "unit": point.unit,
        "lower": point.lower,
        "upper": point.upper,
        "signal": point.signal,
        "tolerance": 1,
        "tolerance_unit": "%",
        "tolerance_percent": 1.0,
        "adjust_limit_percent": 0.5,
        "found_verdict": "pass",
        "left_verdict": "pass",
        "state": "approved",
        "approved_by_name": "S. Fenharrow",
        "approved_at": NOON,
        **more,
    }
    return Calibration(
        site=point.site, point=point, transmitter=transmitter, done_on=done_on, **facts
    )


def past_records(point: MeasuringPoint, *visits: dict) -> list[Calibration]:
    """An approved record a year, the last in 2026, of the transmitter at the point: + 0.1 % of span
    at both ends, where a visit names nothing else.
    """
    device = Installation.objects.get(point=point).transmitter
    usual = {"found_at_zero": 0.1, "left_at_zero": 0.1, "found_at_span": 0.1, "left_at_span": 0.1}
    return Calibration.objects.bulk_create(
        an_unsaved_record(point, dt.date(2027 - len(visits) + n, 6, 1), device, **usual | visit)
        for n, visit in enumerate(visits)
    )
