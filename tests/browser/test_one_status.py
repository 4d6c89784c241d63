"""One word for one point: what somebody does in a browser is said in the due list, the register, on
tank, point and label, and in the mail.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core import mail
from django.utils import timezone
from playwright.sync_api import Page, expect

from calibration.approval import acts as approval_acts
from calibration.records.models import Calibration
from calibration.reminders import acts as reminders
from calibration.reminders import outbox
from plant.points.models import MeasuringPoint
from tests import makers
from tests.browser.guided import without_barriers
from tests.makers.records import an_unsaved_record

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DUE_IN = 7  # a day on which a reminder goes out


@pytest.fixture
def point(technician, approver) -> MeasuringPoint:
    """LT-101B with a capacitance rod, calibrated, in date, due in a week."""
    site = makers.a_site()
    site.digest_at = dt.time(0)
    site.save()
    today = site.day_of(timezone.now())
    tank = makers.a_tank(product_c=Decimal(40))
    makers.a_product(name="soybean oil", permittivity=Decimal("3.15"), permittivity_c=25)
    point = makers.a_point("LT-101B", tank, due_on=today + dt.timedelta(DUE_IN))
    rod = makers.a_transmitter("CR-1", probe_length_mm=8100, probe_diameter_mm=12)
    makers.an_installation(point, rod)
    makers.a_transmitter("CR-2", probe_length_mm=8100, probe_diameter_mm=12)
    makers.a_procedure()
    standard = makers.a_standard()
    makers.a_certificate(standard, dt.date(2019, 1, 1), today + dt.timedelta(days=300))
    an_unsaved_record(point, makers.LONG_AGO, rod).save()
    point.refresh_from_db()
    assert point.status(today).text == f"due in {DUE_IN} d"
    return point


@pytest.fixture
def opened(page: Page, live_server, sign_in) -> Callable[..., Page]:
    """The page of an address, as a person."""
    page.set_default_timeout(10_000)

    def at(path: str, person) -> Page:
        session = sign_in(person).cookies["sessionid"].value
        page.context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
        page.goto(f"{live_server.url}{path}")
        return page

    return at


# ---- what a person does ----
def swap(point, opened, *, planner, **_) -> None:
    page = opened(f"/points/{point.pk}/install/", planner)
    page.get_by_label("Transmitter to install").fill("CR-2")
    page.get_by_label("Where does the removed one go?").first.select_option(index=1)
    page.get_by_role("button", name="Swap").click()
    expect(page.get_by_role("heading", name="LT-101B")).to_be_visible()


def change_product(point, opened, *, planner, **_) -> None:
    page = opened(f"/tanks/{point.tank_id}/product/", planner)
    page.locator("[name=product_name]").fill("soybean oil")
    page.locator("[name=celsius]").fill("25")
    page.locator("[name=why]").fill("A ship of soybean oil.")
    page.locator("button[value=show]").click()
    page.locator("button[value=store]").click()
    expect(page.get_by_role("status")).to_be_visible()


def find_it_dead(point, opened, *, technician, approver, **_) -> None:
    page = opened(f"/points/{point.pk}/", technician)
    page.get_by_role("button", name="Start calibration").click()
    page.locator("[name=cautions_read]").check()
    page.locator("[name=standards]").check()
    page.locator("[name=stands-0-applied]").fill("4.300")
    page.locator("[name=stands-0-observed]").fill("3.400")
    page.locator("[name=no_as_found_reason]").fill("The float is torn off.")
    page.get_by_role("button", name="Submit the calibration").click()
    expect(page.get_by_role("heading", name="Submitted")).to_be_visible()
    record = Calibration.objects.get(state="submitted")
    approval_acts.approve(
        record, content_sha256=record.content_sha256, by=approver, at=timezone.now()
    )


def defer(point, opened, *, technician, approver, **_) -> None:
    until = point.due_on + dt.timedelta(30)
    page = opened(f"/points/{point.pk}/defer/", technician)
    page.locator("[name=until]").fill(until.isoformat())
    page.locator("[name=reason]").fill("A ship lies at the berth.")
    page.get_by_role("button", name="Request the deferral").click()
    page = opened("/deferrals/", approver)
    page.locator("a[href$='/decide/']").click()
    page.get_by_label("Note").fill("It drifts little.")
    page.get_by_role("button", name="Grant").click()
    expect(page.get_by_role("status")).to_be_visible()


# ---- what the book then says ----
def mail_of(person) -> str:
    """The reminder that goes out to the person now."""
    now = timezone.now()
    reminders.scan(at=now)
    outbox.send_waiting(clock=timezone.now)
    [text] = [message.body for message in mail.outbox if person.email in str(message.to)]
    return text


@pytest.mark.parametrize(
    ("act", "word"),
    [
        (swap, "not calibrated"),
        (change_product, "in doubt"),
        (find_it_dead, "in doubt"),
        (defer, "deferred until"),
    ],
)
def test_every_place_says_the_same_word(act, word, point, opened, planner, technician, approver):
    act(point, opened, planner=planner, technician=technician, approver=approver)
    point.refresh_from_db()
    state = "deferred" if act is defer else word.replace(" ", "+")
    places = {
        f"/due/?state={state}": "tr:has(a.plate)",
        "/register/": "tr:has(a.plate)",
        f"/tanks/{point.tank_id}/": f"p:has-text('{point.tag}')",
        f"/points/{point.pk}/": "main",
    }
    for path, where in places.items():
        page = opened(path, planner)
        expect(page.locator(where).filter(has_text=point.tag).first).to_contain_text(word)
        without_barriers(page)
    page = opened(f"/q/{point.site.code}/{point.tag}/", technician)
    expect(page.locator("main")).to_contain_text(word)
    label = opened(f"/points/{point.pk}/label/", technician).locator(".label")
    if act is defer:
        expect(label).to_contain_text(f"{point.next_due.year}")
    else:
        expect(label).to_contain_text(word)
        assert word in mail_of(planner)
