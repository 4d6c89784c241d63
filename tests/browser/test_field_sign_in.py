"""The sign-in ends while a tablet is out of reach: it says so, keeps everything, and sends once its
owner is back.
"""

from __future__ import annotations

import re

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect

from calibration.records.models import Calibration
from tests.browser.sending import FILL, works_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SIGN = """async () => {
  const { openStore } = await import("/static/field/store.js");
  const { sign } = await import("/static/field/outbox.js");
  const store = await openStore();
  const works = await store.works();
  return sign(store, works.map((work) => work.submission), "correct horse");
}"""


@pytest.fixture
def signed(tablet, live_server, technician) -> Page:
    """Two works signed on the tablet and not sent; then the session is gone."""
    page = tablet(live_server.url)
    page.set_default_timeout(8000)
    page.evaluate(FILL, works_of(2, technician))
    assert page.evaluate(SIGN)["ok"]
    Session.objects.all().delete()
    return page


def sign_in_as(page: Page, name: str) -> None:
    page.get_by_label("Username").fill(name)
    page.get_by_label("Password", exact=True).fill("correct horse")
    page.get_by_role("button", name="Sign in").click()


def test_the_list_says_so_and_signed_works_go_out_once_the_same_person_is_back(
    signed, live_server, technician
):
    page = signed
    page.goto(f"{live_server.url}/field/")
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    page.context.set_offline(True)
    page.goto(f"{live_server.url}/field/")
    expect(page.get_by_text("2 records signed, on the way")).to_be_visible()
    page.context.set_offline(False)
    expect(page.get_by_text("Your sign-in has ended.")).to_be_visible()
    expect(page.get_by_text("2 records signed, on the way")).to_be_visible()
    assert Calibration.objects.count() == 0
    page.get_by_role("link", name="Sign in", exact=True).click()
    sign_in_as(page, technician.username)
    expect(page.get_by_text("sent", exact=True)).to_have_count(2)
    expect(page.get_by_text("Your sign-in has ended.")).to_be_hidden()
    assert set(Calibration.objects.values_list("performed_by", flat=True)) == {technician.pk}
    assert Calibration.objects.count() == 2


def test_another_person_signing_in_neither_sees_nor_sends(
    signed, live_server, technician, second_technician
):
    page = signed
    page.goto(f"{live_server.url}/field/")
    page.get_by_role("link", name="Sign in", exact=True).click()
    sign_in_as(page, second_technician.username)
    expect(page.get_by_text(re.compile("2 records of another person are sealed"))).to_be_visible()
    expect(page.get_by_text("sent", exact=True)).to_have_count(0)
    expect(page.get_by_text("signed", exact=True)).to_have_count(0)
    assert Calibration.objects.count() == 0
    page.goto(f"{live_server.url}/jobs/")
    page.get_by_role("button", name="Sign out").click()
    page.goto(f"{live_server.url}/sign-in/?next=/field/")
    sign_in_as(page, technician.username)
    expect(page.get_by_text("sent", exact=True)).to_have_count(2)
    assert Calibration.objects.count() == 2


def test_a_token_that_grew_old_is_fetched_anew_and_the_work_sent(
    signed, live_server, sign_in, technician
):
    page = signed
    session = sign_in(technician).cookies["sessionid"].value
    page.context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    asked = []

    def with_an_old_token(route) -> None:
        asked.append(route.request)
        outcome = route.fetch().json()
        route.fulfill(json=outcome | {"csrf": "x" * 64} if len(asked) == 2 else outcome)

    page.route("**/field/who/", with_an_old_token)
    page.goto(f"{live_server.url}/field/")
    expect(page.get_by_text("sent", exact=True)).to_have_count(2)
    assert len(asked) > 2
    assert Calibration.objects.count() == 2
