"""What a technician sends, and how it becomes the rows of a record. Used by
calibration.records.acts only.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import asdict
from typing import Any

from django.db.models import FilteredRelation, Q

from calibration.jobs.models import Job
from calibration.policies.models import Policy
from calibration.records.budgets import Test
from calibration.records.judging import STAGES, Judged, Range, judge_test, policy_of
from calibration.records.kit import short_of_signal
from calibration.records.models import Adjustment, Calibration, Reading, StandardUse, StepTaken
from calibration.records.sent import SentRecord
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.refusals import Refused
from plant.saving import constraint_messages
from plant.transmitters.models import Installation, Transmitter


def store(
    point: MeasuringPoint,
    sent: SentRecord,
    *,
    job: Job | None,
    submission: uuid.UUID,
    digest: str,
    by: Person,
    at: dt.datetime,
    amends: Calibration | None = None,
    amend_reason: str = "",
    transmitter: Transmitter | None = None,
) -> Calibration:
    """``transmitter``: the one that hung there on the day, where the caller has read it already."""
    if sent.done_on > point.site.day_of(at):
        raise Refused(
            f"{sent.done_on} lies in the future; give the day on which it was done.",
            field="done_on",
        )
    transmitter = transmitter or transmitter_on(point, sent.done_on)
    certificates = _certificates(sent, point.site_id)
    if amends is None:
        _check_ranges(certificates, point)
    # An amendment corrects what was measured that day, under the range and tolerance of that day.
    facts = _copied_from(amends) if amends else register_of(point, transmitter)
    against = Range(
        float(facts["lower"]), float(facts["upper"]), facts["signal"], facts["tolerance_percent"]
    )
    test = Test(point, transmitter, sent.way, certificates, sent.ambient_c, sent.product_c)
    judged, doubt = judge_test(
        {name: sent.stage(name) for name in STAGES}, against, test, _policy(point, amends)
    )
    standing, found, left = (judged[name] for name in STAGES)
    _check_stages(sent, standing, found, left)
    left_figures = left if left.readings else found  # not adjusted: as left is as found
    record = Calibration(
        site=point.site,
        point=point,
        transmitter=transmitter,
        job=job,
        procedure_version=sent.procedure_version,
        amends=amends,
        amend_reason=amend_reason,
        source=sent.source,
        submission=submission,
        content_sha256=digest,
        submitted_at=at,
        done_on=sent.done_on,
        performed_by=by,
        performed_by_name=by.name,
        way=sent.way,
        ambient_c=sent.ambient_c,
        product_c=sent.product_c,
        no_as_found_reason=sent.no_as_found_reason.strip(),
        note=sent.note.strip(),
        adjusted=bool(sent.adjustments),
        shows_failure=found.shows_failure or left.shows_failure,
        **facts,
        **doubt,
        **figures_of("found", found),
        **figures_of("left", left_figures),
    )
    # The database holds every rule of a record; asking them one by one before would cost forty
    # statements.
    with constraint_messages(savepoint=False):
        record.save()
    for stage in (standing, found, left):
        for reading in stage.readings:
            reading.record = record
    Reading.objects.bulk_create([*standing.readings, *found.readings, *left.readings])
    Adjustment.objects.bulk_create(
        Adjustment(record=record, number=n, **asdict(a)) for n, a in enumerate(sent.adjustments, 1)
    )
    StandardUse.objects.bulk_create(
        StandardUse(record=record, standard=s, certificate=c) for s, c in certificates
    )
    StepTaken.objects.bulk_create(
        StepTaken(record=record, by_name=by.name, **asdict(step)) for step in sent.steps
    )
    return record


def _policy(point: MeasuringPoint, amends: Calibration | None) -> Policy:
    """An amendment is judged by the rule of the record that it amends."""
    if amends is None:
        return Policy.objects.of_point(point)
    rule = (amends.budget or {}).get("rule")
    return policy_of(rule) if rule else Policy()


def _check_stages(sent: SentRecord, standing: Judged, found: Judged, left: Judged) -> None:
    """As it stands and as found come before any adjustment; what was adjusted is read again."""
    reason = sent.no_as_found_reason.strip()
    if not standing.readings and not reason:
        raise Refused(
            "Read it as it stands before anything is moved: one applied value and one output. "
            "If that was impossible, say why under “Why as found is missing”.",
            field="as_it_stands",
        )
    if not found.readings and not reason:
        raise Refused(
            "As-found readings are missing. Take them, or say why that was impossible.",
            field="no_as_found_reason",
        )
    if sent.adjustments and not left.readings:
        raise Refused("It was adjusted, so the as-left readings are needed.", field="as_left")
    if not found.readings and not left.readings:
        raise Refused(
            "A record needs readings: as found, or as left with the reason why as found is missing.",
            field="as_left",
        )


def transmitter_on(point: MeasuringPoint, day: dt.date) -> Transmitter:
    installation = (
        Installation.objects.on_day(day).filter(point=point).select_related("transmitter").first()
    )
    if installation is None:
        raise Refused(
            f"No transmitter is registered at {point.tag} on {day}. Ask a planner to enter the "
            "installation.",
            field="done_on",
        )
    return installation.transmitter


def _certificates(
    sent: SentRecord, site_id: int
) -> list[tuple[ReferenceStandard, StandardCertificate]]:
    """Each standard with the certificate that covers the day; refused by name where there is
    none.
    """
    if not sent.standards:
        raise Refused(
            "Name at least one reference standard; without it the result is not traceable.",
            field="standards",
        )
    day = sent.done_on
    covers = Q(certificates__issued_on__lte=day, certificates__valid_until__gte=day) & (
        Q(certificates__withdrawn_on=None) | Q(certificates__withdrawn_on__gt=day)
    )
    named: Any = ReferenceStandard.objects.filter(pk__in=[s.pk for s in sent.standards])
    rows = named.annotate(covering=FilteredRelation("certificates", condition=covers))
    found: dict[int, ReferenceStandard] = {}
    for row in rows.select_related("covering").order_by("covering__valid_until"):
        found[row.pk] = row  # of several the one that is valid longest
    return [_certified(found.get(s.pk), site_id, day) for s in sent.standards]


def _check_ranges(
    certificates: list[tuple[ReferenceStandard, StandardCertificate]], point: MeasuringPoint
) -> None:
    for standard, certificate in certificates:
        why = short_of_signal(standard, certificate, point)
        if why:
            raise Refused(f"{standard}: {why} Use another standard.", field="standards")


def _certified(
    standard: ReferenceStandard | None, site_id: int, day: dt.date
) -> tuple[ReferenceStandard, StandardCertificate]:
    if standard is None or standard.site_id != site_id:
        name = standard or "A standard that was named"
        raise Refused(
            f"{name} belongs to another site; use a standard of this one.", field="standards"
        )
    certificate: StandardCertificate | None = getattr(standard, "covering", None)
    lapsed = standard.withdrawn_on and standard.withdrawn_on <= day
    if lapsed or certificate is None:
        raise Refused(
            f"{standard} has no valid certificate on {day}. "
            "Use another standard, or enter its new certificate.",
            field="standards",
        )
    return standard, certificate


def register_of(point: MeasuringPoint, transmitter: Transmitter) -> dict[str, Any]:
    """The register's facts of the day, copied so that the record tells them for ever."""
    return {
        "tag": point.tag,
        "tank_name": point.tank.name,
        "product_name": point.tank.product.name if point.tank.product else "",
        "serial": transmitter.serial,
        "quantity": point.quantity,
        "unit": point.unit,
        "lower": point.lower,
        "upper": point.upper,
        "signal": point.signal,
        "tolerance": point.tolerance,
        "tolerance_unit": point.tolerance_unit,
        "tolerance_percent": point.limits.percent,
        "adjust_limit_percent": point.adjust_limits.percent,
    }


REGISTER_FACTS = (
    "tag",
    "tank_name",
    "product_name",
    "serial",
    "quantity",
    "unit",
    "lower",
    "upper",
    "signal",
    "tolerance",
    "tolerance_unit",
    "tolerance_percent",
    "adjust_limit_percent",
)


def _copied_from(record: Calibration) -> dict[str, Any]:
    """The register's facts as the amended record keeps them."""
    return {name: getattr(record, name) for name in REGISTER_FACTS}


def figures_of(stage: str, judged: Judged) -> dict[str, Any]:
    figures = judged.figures
    return {
        f"{stage}_errors": judged.errors,
        f"{stage}_largest": figures and figures.largest,
        f"{stage}_at_zero": figures and figures.at_zero,
        f"{stage}_at_span": figures and figures.at_span,
        f"{stage}_hysteresis": figures and figures.hysteresis,
        f"{stage}_verdict": judged.verdict,
    }
