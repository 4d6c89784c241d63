"""The whole guided job at 200 %: the page zoomed, and its text alone made twice as large.

LOOK names a folder for pictures of every screen.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.guided import Guided, is_wider_than_the_screen, texts_cut, without_barriers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# 1280 by 1024 at 200 % is 640 by 512 to the page.
ZOOMED = pytest.mark.browser_context_args(
    viewport={"width": 640, "height": 512}, device_scale_factor=2
)


def check(page: Page) -> None:
    page.evaluate("window.scrollTo(0, 0)")
    look(page)
    assert not is_wider_than_the_screen(page), page.url
    assert texts_cut(page) == [], page.url


def check_all(page: Page) -> None:
    check(page)
    without_barriers(page)


def look(page: Page) -> None:
    folder = os.environ.get("LOOK")
    if folder:
        Path(folder).mkdir(exist_ok=True, parents=True)
        n = len(list(Path(folder).iterdir()))
        page.screenshot(path=f"{folder}/{n:02}.png")


def whole_job(guided: Guided) -> None:
    """Every screen, with what unfolds on a reading, the way over all steps, and a summary that
    lacks much.
    """
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.heading("As found, 0\u00a0%")
    page.locator("#observed-0").fill("4.120")
    expect(page.locator(".hints details").first).to_be_visible()
    for line in page.locator(".leaf summary").all():
        line.click()
    page.get_by_role("button", name="The display is read too").click()
    guided.seen(page)
    for screen, title in (("steps", "All steps"), ("summary", "Summary"), ("facts", "The job")):
        page.evaluate("to => location.hash = location.hash.replace(/[^/]*$/, to)", screen)
        guided.heading(title)
    page.evaluate("to => location.hash = location.hash.replace(/[^/]*$/, to)", "found-1")
    guided.adjusts_and_hands_back()
    page.goto(f"{guided.url}/field/")
    guided.heading("In the plant")


@ZOOMED
def test_at_200_percent_nothing_is_cut_and_nothing_scrolls_sideways(guided, approver):
    guided.seen = check_all
    whole_job(guided)


def test_on_a_phone_with_text_twice_as_large_nothing_is_cut(guided, approver):
    """By the text size that a person sets in the browser: the root's, and that of rem in media
    queries.
    """
    page = guided.page
    page.set_viewport_size({"width": 390, "height": 844})
    sizes = {"standard": 2 * 16, "fixed": 2 * 13}
    guided.seen = check
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": sizes})
    whole_job(guided)
    assert page.evaluate("getComputedStyle(document.documentElement).fontSize") == "32px"
