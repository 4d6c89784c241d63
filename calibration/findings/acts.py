"""Findings: what an as found out of tolerance may have touched, until two people have judged it."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.findings.models import Finding
from calibration.findings.refusals import AlreadyClosed, NotAssessed, NoText, OwnAssessment
from calibration.records.models import Calibration, Reading
from calibration.records.models.readings import FAILURES
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require


def open_for(record: Calibration, *, at: dt.datetime) -> Finding | None:
    """Open a finding for an approved record found out of tolerance; part of the approval's
    transaction.

    In doubt is all since the last record that was left in tolerance. An amendment of a record that
    already has a finding opens no second one.
    """
    if record.found_verdict != "fail":
        return None
    if record.amends_id and Finding.objects.filter(record_id=record.amends_id).exists():
        return None
    good = (
        Calibration.objects.standing()
        .filter(point_id=record.point_id, done_on__lt=record.done_on, left_verdict="pass")
        .order_by("-done_on")
        .first()
    )
    return Finding.objects.create(
        site_id=record.site_id,
        point_id=record.point_id,
        record=record,
        opened_at=at,
        doubtful_from=good.done_on if good else None,
        doubtful_until=record.done_on,
        largest_percent=None if _failed(record) else record.found_largest,
    )


def _failed(record: Calibration) -> bool:
    """It stood or was found in a failure band: no largest error says how far off it was."""
    before = record.readings.filter(band__in=FAILURES).exclude(stage=Reading.Stage.AS_LEFT)
    return record.shows_failure and before.exists()


@transaction.atomic
def assess(finding: Finding, *, text: str, by: Person, at: dt.datetime) -> Finding:
    """Sign what the out-of-tolerance readings did and what is done about it. Another person then
    agrees.
    """
    require(by, "approve", finding.site_id)
    finding = _open(finding)
    if not text.strip():
        raise NoText()
    finding.assessment, finding.assessed_by, finding.assessed_at = text.strip(), by, at
    finding.save(update_fields=["assessment", "assessed_by", "assessed_at"])
    enter("assess finding", on=finding, by=by, why=text)
    return finding


@transaction.atomic
def agree(finding: Finding, *, by: Person, at: dt.datetime) -> Finding:
    """Close the finding: a second person agrees with its assessment."""
    require(by, "close finding", finding.site_id)
    finding = _open(finding)
    if not finding.assessed_by_id:
        raise NotAssessed()
    if finding.assessed_by_id == by.pk:
        raise OwnAssessment()
    finding.agreed_by, finding.closed_at = by, at
    finding.save(update_fields=["agreed_by", "closed_at"])
    enter("close finding", on=finding, by=by)
    return finding


def _open(finding: Finding) -> Finding:
    finding = (
        Finding.objects.select_for_update(of=("self",)).select_related("point").get(pk=finding.pk)
    )
    if finding.closed_at:
        raise AlreadyClosed(number=finding.pk, tag=finding.point.tag, closed_on=finding.closed_at)
    return finding
