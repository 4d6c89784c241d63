"""What is typed on a tablet outlives a killed browser, a sign-in that ended, and whoever takes the
tablet next.

SPANBOOK_BROWSER_KILLS sets how often the browser is killed (20).
"""

from __future__ import annotations

import os
import random
import re
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import BrowserContext, Page, expect

from calibration.records.models import Calibration
from tests.browser.guided import Guided

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

KILLS = int(os.environ.get("SPANBOOK_BROWSER_KILLS", "20"))


def processes_of(profile: Path) -> list[int]:
    """The browser's processes that this test started: they name its profile, which nobody else
    knows.
    """
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                words = (entry / "cmdline").read_bytes()
            except OSError:
                continue
            if str(profile).encode() in words:
                found.append(int(entry.name))
    return found


def kill(profile: Path) -> None:
    while alive := processes_of(profile):
        for pid in alive:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        time.sleep(0.02)


@pytest.fixture
def a_browser(playwright, browser_type_launch_args, tmp_path):
    """Opens a browser that keeps its profile from one time to the next."""
    profile = tmp_path / "profile"

    @contextmanager
    def opened(*, offline: bool) -> Iterator[BrowserContext]:
        context = playwright.chromium.launch_persistent_context(
            profile, offline=offline, headless=True, **browser_type_launch_args
        )
        try:
            yield context
        finally:
            if processes_of(profile):
                context.close()

    opened.profile = profile
    return opened


def at_a_reading(page: Page, live_server, sign_in, technician) -> str:
    """A work begun, at its first as-found point; returns the address of that screen."""
    page.set_default_timeout(10_000)
    guided = Guided(page, live_server.url).sign_in(sign_in, technician)
    guided.begin("LT-101A")
    guided.prepare()
    guided.heading("As found, 0\u00a0%")
    expect(page.locator(".kept.is")).to_be_visible()
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    return page.url


def test_a_killed_browser_loses_at_most_the_key_being_pressed(
    a_browser, live_server, sign_in, technician, plant
):
    chance = random.Random(20261102)  # noqa: S311
    with a_browser(offline=False) as context:
        address = at_a_reading(context.pages[0], live_server, sign_in, technician)
    allowed = [""]
    for n in range(KILLS + 1):
        with a_browser(offline=True) as context:
            page = context.pages[0]
            page.set_default_timeout(10_000)
            page.goto(address)
            field = page.locator("#observed-0")
            expect(field).to_be_visible()
            assert field.input_value() in allowed, f"typed {allowed[0]}, kept {field.input_value()}"
            if n == KILLS:
                break
            typed = f"{chance.randint(10, 20)}.{chance.randint(100, 999)}"[: chance.randint(1, 6)]
            field.fill("")
            for key in typed:
                page.keyboard.press(key)
                time.sleep(chance.uniform(0.04, 0.09))  # a fast hand: 11 to 25 keys a second
            time.sleep(chance.uniform(0, 0.02))
            kill(a_browser.profile)
            allowed = [typed, typed[:-1]]


def test_a_sign_in_that_ended_costs_nothing(page, live_server, sign_in, technician, plant):
    address = at_a_reading(page, live_server, sign_in, technician)
    Session.objects.all().delete()
    page.context.set_offline(True)
    page.goto(address)
    page.locator("#observed-0").fill("4.120")
    expect(page.locator(".kept.is")).to_be_visible()
    page.context.set_offline(False)
    page.goto(address)
    expect(page.locator("#observed-0")).to_have_value("4.120")


def test_the_next_person_sees_and_sends_nothing_of_the_first(
    page, live_server, sign_in, technician, second_technician, plant
):
    address = at_a_reading(page, live_server, sign_in, technician)
    page.locator("#observed-0").fill("4.120")
    expect(page.locator(".kept.is")).to_be_visible()
    guided = Guided(page, live_server.url)
    guided.sign_in(sign_in, second_technician)
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text("In the plant")
    expect(page.get_by_text(re.compile("1 record of another person is sealed"))).to_be_visible()
    assert "4.120" not in page.content()
    assert page.evaluate(
        "async () => { const { openStore } = await import('/static/field/store.js');"
        " const store = await openStore(); return [store.me.name, (await store.works()).length]; }"
    ) == ["R. Ostervane", 0]
    # Back again, the first one goes on where they were.
    guided.sign_in(sign_in, technician)
    page.reload()
    expect(page.get_by_text(re.compile("sealed"))).to_be_hidden()
    page.goto(address)
    expect(page.locator("#observed-0")).to_have_value("4.120")


def test_a_tab_left_open_shuts_when_the_person_leaves_in_another(
    page, live_server, sign_in, technician, plant
):
    at_a_reading(page, live_server, sign_in, technician)
    other = page.context.new_page()
    other.goto(f"{live_server.url}/jobs/")
    other.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in first")


def test_signing_out_locks_what_is_here_and_says_what_is_unsent(
    page, live_server, sign_in, technician, plant
):
    address = at_a_reading(page, live_server, sign_in, technician)
    page.goto(f"{live_server.url}/jobs/")
    page.get_by_role("button", name="Sign out").click()
    expect(
        page.get_by_text("1 record of T. Quillane is still on this device and not sent.")
    ).to_be_visible()
    page.context.set_offline(True)
    page.goto(address)
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in first")
    assert Calibration.objects.count() == 0
