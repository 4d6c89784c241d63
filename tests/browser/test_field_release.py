"""A new release while a job is half done on a tablet: the draft stays; the page changes at the next
opening.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from django.conf import settings as site_settings
from django.contrib.staticfiles.finders import get_finder
from playwright.sync_api import Page, expect

from calibration.records.models import Calibration
from calibration.tablet import shell_views as field_shell

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STATIC = Path(site_settings.BASE_DIR) / "deploy" / "static"
RELEASES = (
    """async () => (await caches.keys()).filter((name) => name.startsWith("spanbook-field-"))"""
)
# The old ones go once the new worker has the pages; a moment later they must be gone.
ONE_IS_LEFT = """async () => {
  const releases = async () => (await caches.keys()).filter((name) => name.startsWith("spanbook-field-"));
  const end = Date.now() + 5000;
  while ((await releases()).length > 1 && Date.now() < end) await new Promise((again) => setTimeout(again, 20));
  return releases();
}"""
FETCH_NEWEST = """async () => {
  const registration = await navigator.serviceWorker.ready;
  await registration.update();
  while (!registration.waiting) await new Promise((again) => setTimeout(again, 20));
}"""

NONE_WAITS = """async () => {
  const waiting = async () => (await navigator.serviceWorker.getRegistration("/field/")).waiting;
  while (await waiting()) await new Promise((again) => setTimeout(again, 20));
}"""


def forget_files() -> None:
    for kept in (get_finder, field_shell._modules, field_shell._release):
        kept.cache_clear()


@pytest.fixture
def files(tmp_path, settings):
    """The site's own files in a folder that a test may change, as a new release does."""
    folder = tmp_path / "static"
    shutil.copytree(STATIC, folder)
    settings.STATICFILES_DIRS = [folder]
    forget_files()
    yield folder
    forget_files()


def deploy_another(files: Path) -> None:
    """The list gets another heading, and one module another name."""
    folder = files / "field"
    shutil.move(folder / "settle.js", folder / "still.js")
    for file in folder.rglob("*.js"):
        text = file.read_text()
        if file.name == "list.js":
            text = text.replace('title: "In the plant"', 'title: "In the plant, anew"')
        file.write_text(text.replace("/settle.js", "/still.js"))
    forget_files()


def half_done(guided) -> Page:
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.reads("As found, 0\u00a0%", mA="4.016")
    guided.heading("As found, 50\u00a0%")
    page.evaluate("async () => { await navigator.serviceWorker.ready; window.isSame = true; }")
    return page


def finish(guided) -> None:
    guided.reads("As found, 100\u00a0%", mA="20.016")
    guided.leave_alone()
    guided.sign()
    guided.heading("Handed back")


def put_away_and_opened(page: Page, live_server) -> None:
    """Once no page is open the browser lets the newest release in by itself."""
    address = page.url
    page.goto(f"{live_server.url}/sign-in/")
    page.evaluate(NONE_WAITS)
    page.context.set_offline(True)
    page.goto(address)


def test_a_draft_goes_on_under_a_new_release_which_is_taken_at_the_next_opening(
    files, guided, approver, live_server
):
    page = half_done(guided)
    before = page.evaluate(RELEASES)
    page.locator("#observed-0").fill("12.0")
    deploy_another(files)
    page.evaluate(FETCH_NEWEST)
    # Under the hands nothing changes.
    page.keyboard.press("1")
    page.keyboard.press("6")
    expect(page.locator("#observed-0")).to_have_value("12.016")
    expect(page.locator(".kept.is")).to_be_visible()
    assert page.evaluate("window.isSame")
    # The next opening is of the new release, also without a network, with everything there.
    put_away_and_opened(page, live_server)
    expect(page.locator("#observed-0")).to_have_value("12.016")
    after = page.evaluate(ONE_IS_LEFT)
    assert len(after) == 1
    assert after != before
    page.get_by_role("link", name="My jobs").click()
    guided.heading("In the plant, anew")
    page.go_back()
    expect(page.locator("#observed-0")).to_have_value("12.016")
    page.context.set_offline(False)
    page.locator(".ways .on").click()
    finish(guided)
    assert len(Calibration.objects.get().found_errors) == 3
    assert page.said == []


def test_a_page_of_the_release_before_still_signs_and_sends(files, guided, approver):
    page = half_done(guided)
    deploy_another(files)
    page.evaluate(FETCH_NEWEST)
    guided.reads("As found, 50\u00a0%", mA="12.016")
    finish(guided)
    assert page.evaluate("window.isSame")
    assert Calibration.objects.count() == 1
