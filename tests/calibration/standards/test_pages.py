"""Reference standards: states by day, certificates with their files, withdrawal by an approver."""

from __future__ import annotations

import datetime as dt
import hashlib
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from calibration.jobs import acts as jobs
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.ledger.models import LedgerEntry
from tests.folded import folded
from tests.makers import (
    TODAY,
    a_certificate,
    a_certified_standard,
    a_procedure,
    a_record,
    a_standard,
    an_equipped_point,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

PDF = b"%PDF-1.7\nHeron Metrology Laboratory\n%%EOF"
FACTS = {
    "number": "H-2201",
    "laboratory": "Heron Metrology Laboratory",
    "issued_on": "2026-10-01",
    "valid_until": "2027-09-30",
    "unit": "mA",
    "expanded_uncertainty": "0.002",
    "coverage_factor": "2",
}


def address(name: str, thing) -> str:
    return reverse(f"calibration:{name}", args=[thing.pk])


def until(name: str, day: dt.date) -> ReferenceStandard:
    standard = a_standard(name)
    a_certificate(standard, dt.date(2025, 1, 1), day)
    return standard


def test_states_are_told_by_the_day_and_the_first_to_lapse_stands_on_top(sign_in, auditor):
    until("MM-valid", TODAY + dt.timedelta(61))
    until("MM-soon", TODAY + dt.timedelta(60))
    until("MM-today", TODAY)
    until("MM-lapsed", TODAY - dt.timedelta(20))
    a_standard("MM-none")
    a_standard("MM-gone", withdrawn_on=TODAY, withdrawn_why="dropped")
    rows = sign_in(auditor).get("/standards/").context["rows"]
    assert [(row.standard.name, row.words) for row in rows] == [
        ("MM-none", "no certificate"),
        ("MM-lapsed", "lapsed 20 d ago"),
        ("MM-today", "lapses today"),
        ("MM-soon", "lapses in 60 d"),
        ("MM-valid", "valid"),
        ("MM-gone", "withdrawn"),
    ]
    assert len(sign_in(auditor).get("/standards/?state=soon").context["rows"]) == 2
    assert len(sign_in(auditor).get("/standards/?q=mm-val").context["rows"]) == 1


def test_a_new_certificate_makes_a_lapsed_standard_valid(sign_in, technician):
    standard = until("MM-07", TODAY - dt.timedelta(20))
    answer = sign_in(technician).post(address("certificate_new", standard), FACTS, follow=True)
    assert "Certificate H-2201 is saved." in answer.content.decode()
    assert answer.context["standing"].key == "valid"


def test_a_standard_is_added_and_edited_by_those_who_may(sign_in, technician, approver, site):
    client = sign_in(technician)
    facts = {"name": "DT-02", "kind": "dip tape", "interval_months": 12, "site": site.pk}
    stored = client.post("/standards/new/", facts)
    standard = ReferenceStandard.objects.get()
    assert stored.url == address("certificate_new", standard)
    again = client.post("/standards/new/", facts)
    assert again.status_code == 422
    assert "already has a reference standard of that identity" in again.content.decode()
    client.post(address("standard_edit", standard), facts | {"serial": "7741"})
    standard.refresh_from_db()
    assert standard.serial == "7741"
    assert sign_in(approver).get("/standards/new/").status_code == 403
    assert sign_in(approver).get(address("standard_edit", standard)).status_code == 403


def test_a_certificates_file_is_kept_under_its_content_and_only_downloaded(
    sign_in, technician, auditor
):
    standard = a_standard()
    file = SimpleUploadedFile("scan.pdf", PDF, content_type="text/html")
    sign_in(technician).post(address("certificate_new", standard), FACTS | {"file": file})
    certificate = StandardCertificate.objects.get()
    assert certificate.stored_as == f"{hashlib.sha256(PDF).hexdigest()}.pdf"
    answer = sign_in(auditor).get(address("certificate_file", certificate))
    assert answer.content == PDF
    assert answer["Content-Disposition"].startswith("attachment;")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Type"] == "application/pdf"
    assert "sandbox" in answer["Content-Security-Policy"]
    assert "script-src" not in answer["Content-Security-Policy"]


def test_a_certified_deviation_is_typed_with_its_sign_and_shown(sign_in, technician):
    standard = a_standard("R-250", kind="resistor")
    facts = FACTS | {"unit": "Ω", "deviation": "\u22122.5"}
    page = sign_in(technician).post(address("certificate_new", standard), facts, follow=True)
    assert StandardCertificate.objects.get().deviation == Decimal("-2.5")
    assert "deviation −2.5\u00a0Ω" in folded(page)


def test_an_altered_file_is_not_handed_out(sign_in, technician):
    standard, client = a_standard(), sign_in(technician)
    client.post(
        address("certificate_new", standard),
        FACTS | {"file": SimpleUploadedFile("scan.pdf", PDF + b"2")},
    )
    certificate = StandardCertificate.objects.get()
    (Path(settings.DATA) / "certificates" / certificate.stored_as).write_bytes(b"%PDF-1.7 doctored")
    answer = client.get(address("certificate_file", certificate), follow=True)
    assert "was altered after it was stored" in answer.content.decode()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<svg onload=alert(1)>", "no PDF, PNG or JPEG"),
        (b"%PDF-" + b"0" * 10 * 1024 * 1024, "up to 10 MB"),
    ],
    ids=["by its content", "too large"],
)
def test_a_file_that_is_none_of_these_is_refused_and_the_entries_stay(
    sign_in, technician, content, said
):
    file = SimpleUploadedFile("scan.pdf", content, content_type="application/pdf")
    answer = sign_in(technician).post(
        address("certificate_new", a_standard()), FACTS | {"file": file}
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="H-2201"' in answer.content.decode()
    assert not StandardCertificate.objects.exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"valid_until": "2026-09-30"}, "cannot end before it was issued"),
        ({"coverage_factor": ""}, "Give U and k together"),
        ({"expanded_uncertainty": "0,002"}, "Write 0.002 with a point."),
        ({"range_low": "20", "range_high": "4"}, "must end above where it begins"),
        ({"number": ""}, "required"),
    ],
)
def test_what_a_certificate_cannot_say_is_refused(sign_in, technician, changed, said):
    answer = sign_in(technician).post(address("certificate_new", a_standard()), FACTS | changed)
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_withdrawal_is_an_approvers_act_with_a_reason(sign_in, technician, approver):
    standard = a_certified_standard()
    a_record(by=technician)
    certificate = standard.certificates.get()
    for name, thing in (("certificate_withdraw", certificate), ("standard_withdraw", standard)):
        assert sign_in(technician).get(address(name, thing)).status_code == 403
        client = sign_in(approver)
        assert "1 record rests on it" in client.get(address(name, thing)).content.decode()
        assert client.post(address(name, thing), {"on": TODAY, "why": ""}).status_code == 422
        answer = client.post(
            address(name, thing), {"on": TODAY, "why": "off by 0.03 mA"}, follow=True
        )
        assert "off by 0.03 mA" in answer.content.decode()
    standard.refresh_from_db()
    assert standard.withdrawn_on == TODAY


def test_another_sites_standard_does_not_exist(sign_in, outsider, site):
    standard = a_certified_standard()
    certificate = standard.certificates.get()
    client = sign_in(outsider)
    for name in ("standard", "standard_edit", "standard_withdraw", "certificate_new"):
        assert client.get(address(name, standard)).status_code == 404
    for name in ("certificate_withdraw", "certificate_file"):
        assert client.get(address(name, certificate)).status_code == 404
    facts = {"name": "X-1", "kind": "dip tape", "interval_months": 12, "site": site.pk}
    client.post("/standards/new/", facts)
    assert not ReferenceStandard.objects.filter(site=site, name="X-1").exists()


def test_standards_pages_cost_the_same_for_one_and_for_many(
    sign_in, technician, auditor, django_assert_max_num_queries
):
    for number in range(6):
        a_certified_standard(f"MM-0{number}")
    a_record(by=technician)
    client = sign_in(auditor)
    with django_assert_max_num_queries(5):
        client.get("/standards/")
    with django_assert_max_num_queries(10):
        client.get(ReferenceStandard.objects.first().get_absolute_url())


def test_a_standard_goes_into_a_kit_and_only_of_a_technician_of_its_site(
    sign_in, planner, technician, approver, outsider
):
    standard = a_standard("MM-44")
    client = sign_in(planner)
    address = f"/standards/{standard.pk}/edit/"
    facts = {"name": "MM-44", "kind": "multimeter", "interval_months": 12}
    assert client.post(address, {**facts, "holder": technician.pk}).status_code == 302
    standard.refresh_from_db()
    assert standard.holder == technician
    entry = LedgerEntry.objects.get(act="change standard")
    assert "T. Quillane" in str(entry.details) or str(technician.pk) in str(entry.details)
    assert "in the kit of T. Quillane" in client.get("/standards/").content.decode()
    for other in (approver, outsider):
        assert client.post(address, {**facts, "holder": other.pk}).status_code == 422


def test_a_standard_names_the_open_jobs_that_rest_on_it(sign_in, planner, technician):
    a_procedure()
    meter, tape = (
        until("MM-07", TODAY - dt.timedelta(9)),
        a_standard("BT-1", kind="bond or insulation tester"),
    )
    a_certificate(tape)
    jobs.plan(an_equipped_point("LT-7"), technician=technician, by=planner)
    jobs.plan(an_equipped_point("LT-8"), technician=None, by=planner)
    client = sign_in(planner)
    page = folded(client.get(meter.get_absolute_url()))
    assert "2 open jobs can rest on it" in page
    assert "Another standard must serve them" in page
    assert "Open jobs it serves" not in folded(client.get(tape.get_absolute_url()))
    ReferenceStandard.objects.filter(pk=meter.pk).update(holder=technician)
    assert "1 open job of T. Quillane can rest on it" in folded(
        client.get(meter.get_absolute_url())
    )
