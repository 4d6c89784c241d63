"""Findings: what is in doubt, the assessment, and another person's word."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from calibration.findings.models import Finding
from tests.makers import TODAY, a_person, an_approved_record, an_equipped_point

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def finding(technician, approver) -> Finding:
    point = an_equipped_point()
    an_approved_record(point, by=technician, approved_by=approver, done_on=TODAY - dt.timedelta(90))
    an_approved_record(point, by=technician, approved_by=approver, found=[-1.5] + [0.1] * 8)
    return Finding.objects.get()


def address(name: str, finding: Finding) -> str:
    return reverse(f"calibration:{name}", args=[finding.pk])


def test_a_finding_tells_since_when_and_how_much(sign_in, auditor, finding):
    page = sign_in(auditor).get(finding.get_absolute_url()).content.decode()
    for shown in (
        "4 Aug 2026",
        "2 Nov 2026",
        "−1.50 % of span, −120",
        "mm",
        f"Record {finding.record_id}",
    ):
        assert shown in page
    assert "Sign the assessment" not in page


def test_assessed_by_one_and_agreed_by_another(sign_in, approver, planner, finding):
    client = sign_in(approver)
    refused = client.post(address("finding_assess", finding), {"text": " "})
    assert refused.status_code == 422
    client.post(address("finding_assess", finding), {"text": "No transfer was billed on it."})
    own = client.post(address("finding_agree", finding))
    assert own.status_code == 422
    assert "Another person than the assessor must agree" in own.content.decode()
    answer = sign_in(planner).post(address("finding_agree", finding), follow=True)
    assert "is closed" in answer.content.decode()
    finding.refresh_from_db()
    assert (finding.assessed_by, finding.agreed_by) == (approver, planner)


def test_agreeing_before_anything_was_assessed_is_refused(sign_in, planner, finding):
    answer = sign_in(planner).post(address("finding_agree", finding))
    assert answer.status_code == 422
    assert "no assessment yet" in answer.content.decode()


def test_a_closed_finding_takes_no_further_assessment(sign_in, approver, planner, finding):
    second = a_person("piyerkand", "approver", name="P. Iyerkand")
    sign_in(approver).post(address("finding_assess", finding), {"text": "first"})
    sign_in(second).post(address("finding_agree", finding))
    answer = sign_in(approver).post(address("finding_assess", finding), {"text": "second thoughts"})
    assert answer.status_code == 422
    assert "was closed" in answer.content.decode()


def test_who_may_assess(sign_in, technician, auditor, outsider, finding):
    for person, status in ((technician, 403), (auditor, 403), (outsider, 404)):
        assert (
            sign_in(person).post(address("finding_assess", finding), {"text": "x"}).status_code
            == status
        )
        assert sign_in(person).post(address("finding_agree", finding)).status_code == status
    assert sign_in(outsider).get(finding.get_absolute_url()).status_code == 404


def test_the_list_is_by_state(sign_in, approver, finding):
    client = sign_in(approver)
    assert [f.pk for f, _ in client.get("/findings/").context["rows"]] == [finding.pk]
    assert client.get("/findings/?state=closed").context["rows"] == []
    assert len(client.get("/findings/?state=nonsense").context["rows"]) == 1


def test_finding_pages_cost_a_fixed_number_of_queries(
    sign_in, approver, finding, django_assert_max_num_queries
):
    client = sign_in(approver)
    with django_assert_max_num_queries(6):
        client.get("/findings/")
    with django_assert_max_num_queries(6):
        client.get(finding.get_absolute_url())
