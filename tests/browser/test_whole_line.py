"""The whole line in a real browser: due list, round, calibration, approval, moved due date, changed
drift, ledger.
"""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from calibration.approval import acts as approval_acts
from calibration.chart_marks import FOUND, FOUND_OUT
from calibration.jobs import acts as jobs
from calibration.metrology.due import add_months
from calibration.records import acts as records
from calibration.records.models import Calibration
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from tests.browser.guided import without_barriers
from tests.makers import a_certificate, a_procedure, a_sent_record, a_standard, an_equipped_point

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def drifting(technician, approver) -> MeasuringPoint:
    """LT-101A, due since yesterday, with three results a year apart, each 0.2 % of span higher at
    every point.
    """
    now = timezone.now()
    point = an_equipped_point(procedure_key="cap-tank")
    a_procedure()
    standard = a_standard()
    a_certificate(standard, dt.date(2019, 1, 1), now.date() + dt.timedelta(days=300))
    for years in (3, 2, 1):
        day = add_months(now.date(), -12 * years) - dt.timedelta(days=1)
        sent = a_sent_record(found=[0.1 + 0.2 * (3 - years)] * 9, done_on=day)
        job = jobs.start(point, by=technician)
        record = records.submit(job, sent, submission=uuid.uuid4(), by=technician, at=now).record
        approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=now)
    point.refresh_from_db()
    return point


def sign_in(page, site: str, person) -> None:
    page.goto(f"{site}/sign-in/")
    page.locator("[name=username]").fill(person.username)
    page.locator("[name=password]").fill("correct horse")
    page.get_by_role("button", name="Sign in").click()


def sign_out(page) -> None:
    page.get_by_role("button", name="Sign out").click()


def points_of_the_drift_chart(page) -> int:
    """Results as found in the drawn chart, within the tolerance or out of it."""
    canvas = page.locator("figure.chart .canvas").first
    expect(canvas.locator("svg")).to_be_visible()
    rings = [
        f".mark-symbol path[stroke-width='{mark.look['strokeWidth']}']"
        for mark in (FOUND, FOUND_OUT)
    ]
    return canvas.locator(", ".join(rings)).count()


def test_from_the_due_list_to_the_moved_due_date(
    page, live_server, drifting, planner, technician, approver, auditor
):
    today = timezone.now().date()
    said: list[str] = []
    page.set_default_timeout(10_000)
    page.on("console", lambda message: said.append(message.text))

    # The planner sees what is overdue and makes a round of it.
    sign_in(page, live_server.url, planner)
    expect(page.get_by_role("heading", name="Due", exact=True)).to_be_visible()
    row = page.get_by_role("row").filter(has_text="LT-101A")
    expect(row).to_contain_text("overdue 1 d")
    without_barriers(page)
    row.get_by_role("checkbox").check()
    page.get_by_role("button", name="Plan a round of these").click()
    page.get_by_label("Name", exact=True).fill("Quay, first")
    page.get_by_label("Technician").select_option(label="T. Quillane")
    page.get_by_role("button", name="Plan the round").click()
    expect(page.get_by_text("0 of 1 done")).to_be_visible()
    page.goto(f"{live_server.url}/points/{drifting.pk}/?of=span")
    before = points_of_the_drift_chart(page)
    without_barriers(page)
    sign_out(page)

    # The technician logs the calibration: as it stands, as found, nothing adjusted.
    sign_in(page, live_server.url, technician)
    page.get_by_role("link", name="LT-101A").first.click()
    page.get_by_role("button", name="Take this job").click()
    page.locator("[name=cautions_read]").check()
    page.locator("[name=standards]").check()
    page.locator("[name=stands-0-applied]").fill("4.300")
    page.locator("[name=stands-0-observed]").fill("12.112")
    for n, percent in enumerate([0, 25, 50, 75, 100, 75, 50, 25, 0]):
        page.locator(f"[name=found-{n}-observed]").fill(f"{4.112 + 0.16 * percent:.3f}")
    page.get_by_role("button", name="Submit the calibration").click()
    expect(page.get_by_role("heading", name="Submitted")).to_be_visible()
    record = Calibration.objects.get(state="submitted")
    assert record.found_largest == pytest.approx(0.7)
    sign_out(page)

    # The approver reads and signs it; the due date moves a year on from today.
    sign_in(page, live_server.url, approver)
    page.goto(f"{live_server.url}/records/{record.pk}/approve/")
    without_barriers(page)
    page.get_by_role("button", name="Approve").click()
    due = add_months(today, 12)
    expect(page.get_by_role("status")).to_contain_text(day_text(due))
    assert MeasuringPoint.objects.get(pk=drifting.pk).due_on == due

    # The point's page shows the new result in the trend.
    page.goto(f"{live_server.url}/points/{drifting.pk}/?of=span")
    assert points_of_the_drift_chart(page) == before + 1
    expect(page.get_by_text("from 4 results")).to_be_visible()
    sign_out(page)

    # The auditor finds who did it.
    sign_in(page, live_server.url, auditor)
    page.goto(f"{live_server.url}/history/points/{drifting.pk}/")
    expect(page.get_by_role("link", name=f"Record {record.pk} approved")).to_be_visible()
    without_barriers(page)
    page.goto(f"{live_server.url}/ledger/")
    expect(page.get_by_text("approve record").first).to_be_visible()
    assert said == []
