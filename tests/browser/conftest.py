"""What the browser tests of the guided job share: a small plant, and a technician's hands on it."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from tests.browser.guided import OUTPUT, Guided, publish
from tests.makers import a_certificate, a_job, a_standard, an_equipped_point


@pytest.fixture
def plant(technician):
    """LT-101A with a job in hand of the technician, one standard in date and one lapsed."""
    today = timezone.now().date()
    a_certificate(a_standard("MM-01"), dt.date(2019, 1, 1), today + dt.timedelta(days=300))
    a_certificate(a_standard("MM-07"), dt.date(2019, 1, 1), today - dt.timedelta(days=20))
    publish("cap-output", OUTPUT)
    return a_job(an_equipped_point(), by=technician)


@pytest.fixture
def guided(page, live_server, sign_in, technician, plant):
    """Signed in; what the page says to the console is kept in ``page.said``."""
    page.set_default_timeout(8000)
    page.said = []
    page.on("console", lambda message: page.said.append(message.text))
    page.on("pageerror", lambda error: page.said.append(str(error)))
    return Guided(page, live_server.url).sign_in(sign_in, technician)


@pytest.fixture
def tablet(page, sign_in, technician):
    """Opens the page by an address, signed in as the technician."""

    def opened(url: str):
        session = sign_in(technician).cookies["sessionid"].value
        page.context.add_cookies([{"name": "sessionid", "value": session, "url": url}])
        page.set_default_timeout(60_000)
        page.goto(f"{url}/sign-in/")
        return page

    return opened
