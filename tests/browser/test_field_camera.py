"""Scanning a label: the browser's own camera (its test picture), and a reader of codes where it
brings none itself.

Chromium on Linux reads no codes, so that one is put in its place; the camera is a real one to the
page.
"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.conftest import BROWSER_WORDS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

READER = """
window.BarcodeDetector = class {
  constructor({ formats }) { this.isFor = formats.includes("qr_code"); }
  async detect(video) {
    const seen = this.isFor && video.videoWidth > 0 && !video.paused;
    return seen && window.label ? [{ rawValue: window.label }] : [];
  }
};
"""


@pytest.fixture
def browser_type_launch_args(browser_type_launch_args):
    camera = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    return browser_type_launch_args | {"args": [*BROWSER_WORDS, *camera]}


@pytest.fixture
def with_camera(playwright, browser_type_launch_args, live_server, sign_in, technician, plant):
    browser = playwright.chromium.launch(headless=True, **browser_type_launch_args)
    context = browser.new_context(permissions=["camera"])
    session = sign_in(technician).cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield page
    browser.close()


def test_a_scanned_label_opens_its_job_and_the_camera_is_let_go(with_camera, live_server):
    page = with_camera
    page.add_init_script(READER)
    page.goto(f"{live_server.url}/field/")
    page.get_by_role("button", name="Scan a label").click()
    expect(page.get_by_text("Hold the label in front of the camera.")).to_be_visible()
    video = page.locator("video").element_handle()
    page.wait_for_function("video => video.videoWidth > 0", arg=video)
    page.evaluate("window.label = 'https://spanbook.example/q/M/LT-101A/'")
    expect(page.get_by_role("heading", level=1)).to_have_text("The job")
    assert video.evaluate("video => video.srcObject") is None


def test_a_label_of_another_job_is_told_and_the_camera_may_be_stopped(with_camera, live_server):
    page = with_camera
    page.add_init_script(READER)
    page.goto(f"{live_server.url}/field/")
    page.get_by_role("button", name="Scan a label").click()
    page.get_by_role("button", name="Stop").click()
    expect(page.locator("video")).to_be_hidden()
    page.evaluate("window.label = 'https://spanbook.example/q/M/LT-999/'")
    page.get_by_role("button", name="Scan a label").click()
    expect(page.get_by_text("No job on this device matches this label.")).to_be_visible()


def test_where_the_browser_reads_no_codes_a_part_of_the_tag_is_typed(with_camera, live_server):
    page = with_camera
    page.goto(f"{live_server.url}/field/")
    page.get_by_label("Find a job").fill("101a")
    expect(page.get_by_role("link", name=re.compile("LT-101A"))).to_be_visible()
    expect(page.get_by_role("button", name="Scan a label")).to_have_count(0)
