"""Standards and certificates out of use: by whom, since when and why; row and ledger."""

from __future__ import annotations

import pytest

from calibration.standards import acts as standards
from calibration.standards.models import StandardCertificate
from plant.ledger.models import LedgerEntry
from plant.refusals import Refused
from tests.makers import TODAY, a_certificate, a_standard

pytestmark = pytest.mark.django_db


def entered(act: str) -> list[tuple]:
    rows = LedgerEntry.objects.filter(act=act)
    return [(row.person_id, row.why, row.details) for row in rows]


def test_a_withdrawn_standard_says_since_when_and_why(approver):
    standard = standards.withdraw(a_standard("MM-77"), on=TODAY, why=" dropped ", by=approver)
    standard.refresh_from_db()
    assert (standard.withdrawn_on, standard.withdrawn_why) == (TODAY, "dropped")
    expected = (approver.pk, "dropped", {"from": TODAY.isoformat()})
    (row,) = entered("withdraw standard")
    assert (row[0], row[1].strip(), row[2]) == expected


def test_a_standard_is_withdrawn_once(approver):
    standard = standards.withdraw(a_standard("MM-77"), on=TODAY, why="dropped", by=approver)
    with pytest.raises(Refused, match="was withdrawn"):
        standards.withdraw(standard, on=TODAY, why="again", by=approver)


def test_a_withdrawn_certificate_says_since_when_and_why(approver):
    certificate = a_certificate(a_standard("MM-77"))
    certificate = standards.withdraw_certificate(
        certificate, on=TODAY, why="wrong unit", by=approver
    )
    certificate.refresh_from_db()
    assert (certificate.withdrawn_on, certificate.withdrawn_why) == (TODAY, "wrong unit")
    assert len(entered("withdraw certificate")) == 1
    with pytest.raises(Refused, match="was withdrawn"):
        standards.withdraw_certificate(certificate, on=TODAY, why="again", by=approver)


def test_a_standard_added_or_changed_stands_in_the_ledger(technician):
    standard = a_standard("MM-77")
    standard.note = "moved to the workshop"
    standards.change(standard, by=technician)
    certificate = StandardCertificate(
        standard=standard,
        number="C-77",
        laboratory="Heron Metrology Laboratory",
        issued_on=TODAY,
        valid_until=TODAY,
    )
    standards.add_certificate(certificate, by=technician)
    assert [len(entered(act)) for act in ("change standard", "add certificate")] == [1, 1]
