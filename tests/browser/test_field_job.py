"""The guided job in a real browser, from the list to the hand-back: led, computed, kept offline,
signed on sending.
"""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from calibration.approval import acts as approval_acts
from calibration.records.models import Calibration
from calibration.tablet.models import FieldPhoto
from plant.points.models import MeasuringPoint
from tests.browser.guided import (
    LEVELS,
    Guided,
    is_wider_than_the_screen,
    publish,
    without_barriers,
)
from tests.files import a_picture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BEYOND = {
    "As found, 0\u00a0%": "4.120",
    "As found, 50\u00a0%": "12.1234",
    "As found, 100\u00a0%": "20.0895",
}
ERRORS = ["+0.75", "+0.77", "+0.56"]


def found_beyond(guided: Guided) -> None:
    for title, current in BEYOND.items():
        guided.reads(title, mA=current)
    guided.heading("As found: result")


def test_the_whole_job_by_keyboard_alone_offline_then_signed_and_sent(guided, approver):
    page, keys = guided.page, guided.page.keyboard
    guided.seen = without_barriers
    page.goto(f"{guided.url}/field/")
    guided.heading("In the plant")
    page.context.set_offline(True)

    guided.tab_to(page.get_by_role("link", name=re.compile("LT-101A")))
    keys.press("Enter")
    guided.heading("The job")
    guided.press_on()

    guided.heading("Caution")
    guided.press_on()  # not without what it asks for
    expect(page.get_by_role("alert")).to_contain_text("Permit number")
    keys.type("P-2231")  # the focus was brought there
    guided.press_on()
    expect(page.get_by_text("Control room informed")).to_be_visible()
    expect(page.get_by_role("heading", level=1)).to_be_focused()
    guided.press_on()

    guided.heading("Standards")
    expect(page.get_by_role("checkbox", name=re.compile("MM-07"))).to_be_disabled()
    expect(page.get_by_text(re.compile("not to be used: its certificate ended"))).to_be_visible()
    guided.tab_to(page.get_by_role("checkbox", name=re.compile("MM-01")))
    keys.press("Space")
    guided.press_on()

    guided.heading("As it stands")
    keys.type("4.300")  # digits go where the keypad would put them
    for _ in range(3):
        keys.press("Enter")
    keys.type("12.120")
    expect(page.locator(".twin .big").first).to_have_text("12.000")
    expect(page.locator(".twin .big").last).to_have_text("+0.75")
    keys.press("Enter")

    guided.heading("Prepare")
    guided.tab_to(page.get_by_label("Voltage"))
    keys.type("18.2")
    guided.press_on()

    for (title, current), error in zip(BEYOND.items(), ERRORS, strict=True):
        guided.heading(title)
        keys.type(current)
        expect(page.locator(".twin .big").last).to_have_text(error)
        keys.press("Enter")
    guided.heading("As found: result")
    expect(page.get_by_text("beyond the adjust limit ±0.50")).to_be_visible()
    guided.press_on()

    guided.heading("Adjust")
    for _ in range(2):
        guided.tab_to(page.locator("#before"))
        keys.type("4.120")
        keys.press("Enter")
        keys.type("4.001")
        keys.press("Enter")
    expect(page.get_by_role("list", name="Adjusted so far").get_by_role("listitem")).to_have_count(
        2
    )
    guided.press_on()

    for title in ("As left, 0\u00a0%", "As left, 50\u00a0%", "As left, 100\u00a0%"):
        guided.heading(title)
        should_be = page.locator(".twin .big").first.inner_text()
        keys.type(should_be)
        keys.press("Enter")
    guided.heading("As left: result")
    guided.press_on()
    for text in ("Loop returned", "Permit closed"):
        expect(page.get_by_text(text)).to_be_visible()
        guided.press_on()
    guided.heading("Summary")
    expect(page.get_by_text("Complete", exact=True)).to_be_visible()
    guided.press_on()
    guided.heading("Sign and send")
    expect(page.get_by_text("No connection.")).to_be_visible()
    assert Calibration.objects.count() == 0

    page.context.set_offline(False)
    guided.tab_to(page.get_by_label("Password of T. Quillane"))
    keys.type("wrong horse")
    keys.press("Enter")
    expect(page.get_by_role("alert")).not_to_be_empty()
    keys.type("correct horse")
    keys.press("Enter")
    guided.heading("Handed back")
    expect(page.get_by_text("S. Fenharrow")).to_be_visible()
    record = Calibration.objects.get()
    assert [f"{error:+.2f}" for error in record.found_errors] == ERRORS
    assert [str(a.before) for a in record.adjustments.all()] == ["4.12000", "4.12000"]
    assert record.steps_taken.get(number=1).answers[0]["value"] == "P-2231"
    assert record.steps_taken.get(number=1).by_name == "T. Quillane"
    assert (record.source, record.found_verdict, record.left_largest) == ("tablet", "pass", 0)


def test_adjusting_is_shut_before_as_found_even_by_its_address(guided):
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.reads("As found, 0\u00a0%", mA="4.120")
    guided.heading("As found, 50\u00a0%")
    page.evaluate("location.hash = location.hash.replace(/[^/]*$/, 'adjust')")
    guided.heading("As found, 50\u00a0%")
    expect(page.get_by_text("2 of 3 still to read")).to_be_visible()


def test_what_cannot_be_read_or_done_carries_its_reason(guided, approver):
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.heading("As found, 0\u00a0%")
    page.get_by_text("It cannot be read").click()
    guided.on("Nor any of the others")
    expect(page.get_by_text("Write the reason first.")).to_be_visible()
    page.get_by_label("Why as found cannot be read here").fill("Probe broken by a paddle.")
    guided.on("Nor any of the others")
    guided.heading("As found: result")
    guided.on("Next: adjust")
    guided.heading("Adjust")
    page.locator("#before").fill("3.2")
    page.locator("#after").fill("4.001")
    guided.on("Save this adjustment")
    page.locator(".ways .on").click()
    for n, current in enumerate(("4.001", "12.001", "20.002")):
        guided.reads(f"As left, {50 * n}\u00a0%", mA=current)
    guided.on("Next: restore")
    page.get_by_text("Leave this step out").click()
    page.get_by_label("Reason for leaving it out").fill("The loop stays open until Thursday.")
    guided.on("Leave out")
    guided.on("Done")
    guided.heading("Summary")
    guided.sign()
    guided.heading("Handed back")
    record = Calibration.objects.get()
    assert record.no_as_found_reason == "Probe broken by a paddle."
    assert record.steps_taken.get(number=9).skipped_why == "The loop stays open until Thursday."


def test_a_dead_transmitter_is_handed_back_as_failed_where_no_level_is_known(guided, approver):
    """In a storm nobody dips; the output stands at 3.4 mA, and nothing moves it."""
    page = guided.page
    guided.begin("LT-101A").to_as_it_stands()
    guided.seen = without_barriers
    guided.heading("As it stands")
    page.locator("#observed-0").fill("3.4")
    page.locator(".ways .on").click()
    expect(page.locator("#said")).to_have_text(
        "Give the level, or say below why it cannot be known."
    )
    page.get_by_text("The level cannot be known").click()
    page.get_by_label("Level not known, because").fill("storm, no dip")
    expect(page.locator("#applied-0")).to_be_hidden()
    expect(page.get_by_text("NE 43: failure low, a failure rather than an error")).to_be_visible()
    page.locator(".ways .on").click()
    guided.heading("Prepare")
    page.get_by_label("Voltage").fill("18.2")
    guided.on("Done")
    page.get_by_text("It cannot be read").click()
    page.get_by_label("Why as found cannot be read here").fill("No output moves")
    guided.on("Nor any of the others")
    guided.on("Next: adjust")
    guided.on("Nothing adjusted: next")
    page.locator(".ways .on").click()
    guided.restore()
    said = (
        "Failed as it stood: output at 3.4\u00a0mA, below 3.6\u00a0mA; level not known: storm, no dip; "
        "no as found possible: No output moves."
    )
    expect(page.get_by_text("Complete", exact=True)).to_be_visible()
    expect(page.locator(".note.bad:not(.alarm)")).to_have_text(said)
    expect(page.get_by_text("not known: storm, no dip").last).to_be_visible()
    guided.sign()
    guided.heading("Handed back")
    expect(page.locator(".note.bad:not(.alarm)")).to_have_text(said)
    expect(page.get_by_text("Failed as it stood", exact=True)).to_be_visible()
    expect(page.get_by_text("this record moves no due date")).to_be_visible()
    record = Calibration.objects.get()
    page.goto(f"{guided.url}{record.get_absolute_url()}")
    expect(page.locator(".note.bad:not(.alarm)")).to_have_text(said)
    approval_acts.approve(
        record, content_sha256=record.content_sha256, by=approver, at=timezone.now()
    )
    assert record.finding.largest_percent is None


UNEQUAL = {
    "As found, 0\u00a0%": "4.048",
    "As found, 50\u00a0%": "11.888",
    "As found, 100\u00a0%": "20.000",
}


def test_an_unequal_tolerance_names_its_worst_error_and_adjusts_by_the_one_furthest_from_zero(
    guided, approver
):
    """From −2 to +1 % of span +0.30 lies nearer its limit than −0.70, which is beyond the adjust
    limit.
    """
    MeasuringPoint.objects.filter(tag="LT-101A").update(tolerance_down=2)
    page = guided.page
    guided.begin("LT-101A").prepare()
    for title, current in UNEQUAL.items():
        guided.reads(title, mA=current)
    guided.heading("As found: result")
    expect(page.locator(".big")).to_have_text("+0.30")
    expect(page.get_by_text("tolerance +1.00 / −2.00\u00a0%")).to_be_visible()
    guided.on("Next: adjust")
    expect(page.get_by_text("Largest error −0.70 %: beyond the adjust limit")).to_be_visible()
    guided.on("Nothing adjusted: next")
    page.locator(".ways .on").click()
    guided.restore()
    expect(page.get_by_text("worst error +0.30 %, 3 of 3 read")).to_be_visible()
    guided.sign()
    guided.heading("Handed back")
    expect(page.get_by_text("worst error +0.30 % of span").first).to_be_visible()
    expect(page.get_by_text("As found −0.70 %, beyond the adjust limit")).to_be_visible()


def test_inside_the_adjust_limit_the_fields_wait_for_a_reason(guided):
    page = guided.page
    guided.begin("LT-101A").prepare()
    for n, current in enumerate(("4.016", "12.016", "20.016")):
        guided.reads(f"As found, {50 * n}\u00a0%", mA=current)
    guided.on("Next: adjust")
    expect(page.get_by_text("Do not adjust, or give a reason")).to_be_visible()
    expect(page.locator("#before")).to_be_disabled()
    page.get_by_label("Reason for adjusting").fill("Agreed with the shift.")
    expect(page.locator("#before")).to_be_enabled()


def test_the_place_and_every_figure_are_there_after_a_reload_and_back_goes_back(guided):
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.reads("As found, 0\u00a0%", mA="4.120")
    guided.heading("As found, 50\u00a0%")
    page.locator("#observed-0").fill("12.1")
    expect(page.get_by_text("kept on this device")).to_be_visible()
    page.reload()
    guided.heading("As found, 50\u00a0%")
    expect(page.locator("#observed-0")).to_have_value("12.1")
    page.go_back()
    guided.heading("As found, 0\u00a0%")
    expect(page.locator("#observed-0")).to_have_value("4.120")


def test_the_keypad_types_where_one_is_and_next_goes_on(guided):
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.heading("As found, 0\u00a0%")
    pad = page.get_by_role("group", name="Keypad")
    for key in ("4", "point", "1", "3", "delete", "2"):
        pad.get_by_role("button", name=key, exact=True).click()
    expect(page.locator("#observed-0")).to_have_value("4.12")
    pad.get_by_role("button", name="change sign").click()
    expect(page.locator("#observed-0")).to_have_value("-4.12")
    pad.get_by_role("button", name="change sign").click()
    pad.get_by_role("button", name="next field").click()
    guided.heading("As found, 50\u00a0%")
    assert page.said == []


def test_two_known_levels_give_zero_and_span_marked_as_computed(guided, technician, approver):
    publish(
        "cap-two-levels",
        LEVELS,
        shape="two known levels",
        way="wetted level by dip",
        percents=[20, 80],
        adjusts=["zero", "span"],
    )
    page = guided.page
    guided.seen = without_barriers
    guided.open("LT-101A").heading("The job")
    page.get_by_label("Follow").select_option(label="cap-two-levels")
    guided.on("Begin")
    guided.on("I acknowledge this")
    guided.heading("Standards")
    page.get_by_role("checkbox", name=re.compile("MM-01")).check()
    page.locator(".ways .on").click()
    guided.reads("As it stands", mA="12.000", level="4.300")
    guided.heading("As found, first level")
    for n, (dip, current) in enumerate(
        [("2.150", "7.742"), ("2.151", "7.743"), ("2.149", "7.741")]
    ):
        page.locator(f"#applied-{n}").fill(dip)
        page.locator(f"#observed-{n}").fill(current)
    expect(page.locator("[data-mean=applied]")).to_have_text("mean 2.150")
    page.locator(".ways .on").click()
    guided.on("Done")
    guided.reads("As found, second level", mA="16.480", level="6.480")
    guided.heading("As found: result")
    zero = page.get_by_role("row").filter(has_text="zero")
    expect(zero).to_contain_text("4.009")
    expect(zero).to_contain_text("1.49")
    guided.on("Next: adjust")
    guided.heading("Adjust")
    guided.on("Nothing adjusted: next")
    guided.heading("As left")
    page.locator(".ways .on").click()
    guided.on("Done")
    guided.heading("Summary")
    guided.sign()
    guided.heading("Handed back")
    record = Calibration.objects.get()
    computed = record.readings.filter(origin="computed").order_by("sequence")
    assert [f"{reading.observed:.5f}" for reading in computed] == ["4.00867", "20.15279"]
    assert record.found_at_span == pytest.approx(0.9549, abs=1e-3)


def test_a_returned_job_is_done_again(guided, approver):
    page = guided.page
    for attempt in (1, 2):
        guided.begin("LT-101A").prepare()
        if attempt == 2:
            assert Calibration.objects.get().state == "returned"
        guided.finds_it_right()
        if attempt == 2:
            break
        approval_acts.send_back(
            Calibration.objects.get(), reason="Which meter was it?", by=approver, at=timezone.now()
        )
        page.goto(f"{guided.url}/field/")
        guided.on("Fetch the pack again")
        expect(page.get_by_text("returned", exact=True)).to_be_visible()
        page.get_by_role("link", name=re.compile("LT-101A")).click()
        expect(page.get_by_text("Which meter was it?")).to_be_visible()
    assert sorted(Calibration.objects.values_list("state", flat=True)) == ["returned", "submitted"]


def test_no_screen_is_wider_than_320_px_and_none_has_a_barrier_in_the_dark(guided):
    page = guided.page
    page.set_viewport_size({"width": 320, "height": 640})
    page.emulate_media(color_scheme="dark")

    def seen(page) -> None:
        assert not is_wider_than_the_screen(page), page.url
        without_barriers(page)

    guided.seen = seen
    guided.begin("LT-101A").prepare()
    found_beyond(guided)
    guided.on("Next: adjust")
    guided.heading("Adjust")
    page.evaluate("location.hash = location.hash.replace(/[^/]*$/, 'steps')")
    guided.heading("All steps")
    page.evaluate("location.hash = location.hash.replace(/[^/]*$/, 'summary')")
    guided.heading("Summary")
    expect(page.get_by_text("Still missing")).to_be_visible()


def test_a_photo_is_kept_small_on_the_device_and_follows_its_work(
    guided, approver, settings, tmp_path
):
    settings.DATA = tmp_path
    page = guided.page
    guided.begin("LT-101A").prepare()
    guided.heading("As found, 0\u00a0%")
    page.get_by_text("Take a photo").click()
    page.locator("#photo").set_input_files(
        {
            "name": "plate.png",
            "mimeType": "image/png",
            "buffer": a_picture("PNG", (2400, 1200), colour="teal"),
        }
    )
    expect(page.get_by_text("Photos (1)")).to_be_visible()
    expect(page.get_by_role("img", name="photo")).to_be_visible()
    guided.finds_it_right()
    photo = FieldPhoto.objects.get()
    assert photo.step == 6
    assert photo.work.record == Calibration.objects.get()


def test_a_second_tab_does_not_work_on_the_same_work(guided):
    guided.begin("LT-101A").heading("Caution")
    second = guided.page.context.new_page()
    second.goto(guided.page.url)
    expect(second.get_by_role("heading", level=1)).to_have_text("Open in another tab")
    guided.page.close()
    second.get_by_role("button", name="Try again").click()
    expect(second.get_by_role("heading", level=1)).to_have_text("Caution")


def test_without_javascript_a_sentence_leads_to_the_ordinary_form(browser, live_server):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{live_server.url}/field/")
    expect(page.get_by_role("heading", level=1)).to_have_text("In the plant")
    expect(page.get_by_role("link", name="form of the job")).to_be_visible()
    context.close()
