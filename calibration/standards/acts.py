"""Reference standards and their certificates. A withdrawal carries a reason; nothing is deleted."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.ledger.writer import changes, enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.refusals import Refused
from plant.saving import check


@transaction.atomic
def add(standard: ReferenceStandard, *, by: Person) -> ReferenceStandard:
    require(by, "add standard", standard.site_id)
    check(standard)
    standard.save()
    enter("add standard", on=standard, by=by)
    return standard


@transaction.atomic
def change(standard: ReferenceStandard, *, by: Person) -> ReferenceStandard:
    """Store the standard's changed data; its certificates stay as they are."""
    require(by, "add standard", standard.site_id)
    before = ReferenceStandard.objects.select_for_update().get(pk=standard.pk)
    check(standard)
    standard.save()
    enter("change standard", on=standard, by=by, details=changes(before, standard))
    return standard


@transaction.atomic
def add_certificate(certificate: StandardCertificate, *, by: Person) -> StandardCertificate:
    require(by, "add standard", certificate.standard.site_id)
    check(certificate)
    certificate.save()
    enter(
        "add certificate",
        on=certificate,
        by=by,
        details={"valid until": certificate.valid_until, "laboratory": certificate.laboratory},
    )
    return certificate


@transaction.atomic
def withdraw_certificate(
    certificate: StandardCertificate, *, on: dt.date, why: str, by: Person
) -> StandardCertificate:
    """From the day ``on`` the certificate covers nothing more. Records made before keep it."""
    require(by, "approve", certificate.standard.site_id)
    certificate = StandardCertificate.objects.select_for_update().get(pk=certificate.pk)
    if certificate.withdrawn_on:
        raise Refused(
            f"Certificate {certificate.number} was withdrawn on {certificate.withdrawn_on}."
        )
    certificate.withdrawn_on, certificate.withdrawn_why = on, why.strip()
    check(certificate)
    certificate.save()
    enter("withdraw certificate", on=certificate, by=by, why=why, details={"from": on})
    return certificate


@transaction.atomic
def withdraw(
    standard: ReferenceStandard, *, on: dt.date, why: str, by: Person
) -> ReferenceStandard:
    """Take a standard out of use from the day ``on``."""
    require(by, "approve", standard.site_id)
    standard = ReferenceStandard.objects.select_for_update().get(pk=standard.pk)
    if standard.withdrawn_on:
        raise Refused(f"{standard} was withdrawn on {standard.withdrawn_on}.")
    standard.withdrawn_on, standard.withdrawn_why = on, why.strip()
    check(standard)
    standard.save()
    enter("withdraw standard", on=standard, by=by, why=why, details={"from": on})
    return standard
