"""A device without room: what is not kept is shown at once, stays on the screen, and is kept once
there is room.
"""

from __future__ import annotations

import io
import re

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from calibration.records.models import Calibration
from tests.browser.guided import Guided, without_barriers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# As a browser does it: the transaction is broken off, and its reason is the quota.
FULL = """(() => {
  const put = IDBObjectStore.prototype.put;
  window.isFull = false;
  IDBObjectStore.prototype.put = function (...words) {
    const asked = put.apply(this, words);
    if (window.isFull) {
      const reason = new DOMException("no room", "QuotaExceededError");
      Object.defineProperty(this.transaction, "error", { get: () => reason });
      this.transaction.abort();
    }
    return asked;
  };
})();"""


@pytest.fixture
def at_a_reading(guided) -> Guided:
    guided.page.add_init_script(FULL)
    guided.begin("LT-101A").prepare()
    guided.heading("As found, 0\u00a0%")
    expect(guided.page.locator(".kept.is")).to_be_visible()
    return guided


def fill_up(page: Page, is_full: bool = True) -> None:
    page.evaluate("is => { window.isFull = is; }", is_full)


def test_what_is_not_kept_is_told_stays_and_is_kept_by_itself(at_a_reading):
    guided, page = at_a_reading, at_a_reading.page
    fill_up(page)
    page.locator("#observed-0").fill("4.120")
    alarm = page.get_by_role("alert").filter(has_text="is not kept on this device")
    expect(alarm).to_contain_text("LT-101A")
    expect(alarm).to_contain_text("out of storage: free some")
    expect(page.locator(".kept.lost")).to_have_text("not kept")
    expect(page.locator(".twin .big").last).to_have_text("+0.75")
    without_barriers(page)
    # Elsewhere and back: this page has it.
    page.locator(".ways .on").click()
    guided.heading("As found, 50\u00a0%")
    expect(alarm).to_be_visible()
    page.get_by_role("link", name="My jobs").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("In the plant")
    expect(alarm).to_be_visible()
    page.go_back()
    page.go_back()
    guided.heading("As found, 0\u00a0%")
    expect(page.locator("#observed-0")).to_have_value("4.120")
    # Room again: nothing need be typed for it.
    fill_up(page, False)
    expect(page.locator(".kept.is")).to_be_visible()
    expect(alarm).to_be_hidden()
    page.reload()
    expect(page.locator("#observed-0")).to_have_value("4.120")


def test_a_photo_without_room_is_refused_in_the_same_words(at_a_reading):
    page = at_a_reading.page
    kept = io.BytesIO()
    Image.new("RGB", (60, 40), "teal").save(kept, "PNG")
    picture = {"name": "plate.png", "mimeType": "image/png", "buffer": kept.getvalue()}
    page.get_by_text("Take a photo").click()
    fill_up(page)
    page.locator("#photo").set_input_files(picture)
    expect(
        page.get_by_text(re.compile("could not be kept: This device is out of storage"))
    ).to_be_visible()
    fill_up(page, False)
    page.locator("#photo").set_input_files([])
    page.locator("#photo").set_input_files(picture)
    expect(page.get_by_text("Photos (1)")).to_be_visible()


def test_a_work_is_made_ready_only_once_there_is_room(at_a_reading, approver):
    guided, page = at_a_reading, at_a_reading.page
    for n, current in enumerate(("4.016", "12.016", "20.016")):
        guided.reads(f"As found, {50 * n}\u00a0%", mA=current)
    guided.leave_alone()
    fill_up(page)
    guided.on("Make it ready to sign")
    expect(page.get_by_role("alert").filter(has_text="out of storage")).to_be_visible()
    guided.heading("Summary")
    fill_up(page, False)
    guided.sign()
    guided.heading("Handed back")
    assert Calibration.objects.get().found_errors


def test_nothing_is_begun_without_room(guided):
    page = guided.page
    page.add_init_script(FULL)
    guided.open("LT-101A").heading("The job")
    fill_up(page)
    guided.on("Begin")
    expect(page.get_by_role("alert").filter(has_text="The job is not begun.")).to_be_visible()
    fill_up(page, False)
    guided.on("Begin")
    guided.heading("Caution")
