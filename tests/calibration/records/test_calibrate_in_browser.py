"""The calibration form in a real browser: what it says while it is typed in, and that the server
says the same.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from calibration.records.judging import Range
from calibration.records.models import Calibration
from calibration.records.reading_forms import ReadingForm, row_figures
from plant.level.tolerance import Limits
from tests.makers import a_certified_standard, a_job, a_procedure

VECTORS = json.loads((Path(__file__).parent / "reading_vectors.json").read_text(encoding="utf-8"))[
    "cases"
]
TYPED = ("applied", "observed", "indication")


def judged_by_server(case: dict) -> dict[str, str]:
    """Through the form itself, as the page is drawn."""
    form = ReadingForm({name: case[name] or "" for name in TYPED})
    form.is_valid()
    given = Limits.of(
        case.get("up", case["tolerance"]), case.get("down"), case.get("sides", "both")
    )
    limits = given.scaled_to(case["tolerance"])
    against = Range(float(case["lower"]), float(case["upper"]), case["signal"], limits)
    shown = row_figures(form, against)
    return {
        "expected": shown.expected,
        "error": shown.error,
        "band": shown.band,
        "verdict": shown.verdict,
    }


@pytest.mark.parametrize("case", VECTORS, ids=[case["why"] for case in VECTORS])
def test_the_server_says_what_was_worked_by_hand(case):
    assert judged_by_server(case) == {
        key: case[key] for key in ("expected", "error", "band", "verdict")
    }


JUDGE_ALL = """async ([url, ofLimits, cases]) => {
  const { judge } = await import(url);
  const { limitsOf } = await import(ofLimits);
  return cases.map((c) => {
    const limits = limitsOf({
      tolerance: c.up ?? c.tolerance,
      tolerance_down: c.down,
      tolerance_sides: c.sides,
      tolerance_percent: c.tolerance,
    });
    const judged = judge(c, { ...c, limits });
    const { expected, errorText: error, band, verdict } = judged;
    return { expected, error, band, verdict };
  });
}"""


def invented(rng: random.Random) -> dict:
    """A reading nobody chose: digits, ranges and signals at random, both directions."""
    lower, upper = rng.sample(range(-2000, 12000), 2)
    signal, low, high = rng.choice(
        [("4-20mA", 4, 20), ("0-20mA", 0, 20), ("1-5V", 1, 5), ("0-10V", 0, 10)]
    )
    beyond = rng.choice([0, 0, 100, 4000])
    applied = rng.randint(min(lower, upper) - beyond, max(lower, upper) + beyond)
    right = low + (high - low) * (applied - lower) / (upper - lower)
    right = min(max(right, low - 0.3), high + 0.6)  # where an output stops
    return {
        "lower": f"{lower / 1000:.3f}",
        "upper": f"{upper / 1000:.3f}",
        "signal": signal,
        "tolerance": rng.choice([0.05, 0.25, 0.5, 1.0, 2.5]),
        **rng.choice(
            [{}, {}, {"up": 5, "down": 10}, {"up": 4, "down": 0.5}]
            + [{"sides": sides} for sides in ("at most", "at least")]
        ),
        "applied": f"{applied / 1000:.3f}",
        "observed": rng.choice([None, f"{right + rng.gauss(0, 0.1):.{rng.randint(1, 5)}f}"]),
        "indication": rng.choice(
            [None, f"{applied / 1000 + rng.gauss(0, 0.02):.{rng.randint(1, 4)}f}"]
        ),
    }


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_page_computes_to_the_same_last_digit_as_the_server(page, live_server):
    rng = random.Random(20261102)  # noqa: S311 - any numbers will do
    cases = [*VECTORS, *(invented(rng) for _ in range(3000))]
    page.goto(f"{live_server.url}/sign-in/")
    answers = page.evaluate(
        JUDGE_ALL,
        [f"{live_server.url}/static/{name}.js" for name in ("readings", "limits")] + [cases],
    )
    differing = [
        (case, said, server)
        for case, said in zip(cases, answers, strict=True)
        if said != (server := judged_by_server(case))
    ]
    assert differing == []


@pytest.fixture
def at_the_form(page, live_server, sign_in, technician):
    """A browser signed in as the technician, on the form of a job in hand."""
    a_procedure()
    a_certified_standard()
    job = a_job(by=technician)
    session = sign_in(technician).cookies["sessionid"].value
    page.context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page.goto(f"{live_server.url}/jobs/{job.pk}/calibrate/")
    return page


def fill_as_found(
    page, observed="4.016 8.016 12.016 16.016 20.016 16.016 12.016 8.016 4.016"
) -> None:
    page.locator("[name=stands-0-applied]").fill("4.300")
    page.locator("[name=stands-0-observed]").fill("12.016")
    for n, current in enumerate(observed.split()):
        page.locator(f"[name=found-{n}-observed]").fill(current)


def assert_no_barrier(page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_error_stands_beside_the_reading_while_it_is_typed(at_the_form):
    page = at_the_form
    row = page.locator("table[data-stage=found] tr[data-row]").nth(2)
    row.locator("[data-part=observed]").press_sequentially("11.8")
    expect(row.locator("[data-judged=expected]")).to_have_text("12.000")
    expect(row.locator("[data-judged=error]")).to_have_text("−1.25")
    expect(row.locator("[data-judged=verdict]")).to_have_text("fail")
    row.locator("[data-part=observed]").fill("11,8")
    expect(row.locator(".errorlist")).to_contain_text("Write 11.8 with a point.")
    row.locator("[data-part=observed]").fill("3.5")
    expect(row.locator("[data-judged=band]")).to_have_text("NE 43: failure low")
    assert_no_barrier(page)


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_adjusting_waits_for_the_last_as_found_reading(at_the_form):
    page = at_the_form
    zero = page.locator("[name=adjust-zero-done]")
    expect(zero).to_be_disabled()
    fill_as_found(page)
    expect(zero).to_be_enabled()
    page.locator("[name=found-4-observed]").fill("")
    expect(zero).to_be_disabled()
    page.locator("[name=no_as_found_reason]").fill("The level could not be moved.")
    expect(zero).to_be_enabled()


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_a_day_without_a_certificate_takes_the_standard_away(at_the_form):
    page = at_the_form
    page.locator("[name=done_on]").fill("2026-07-01")
    expect(page.locator("[name=standards]")).to_be_visible()
    page.locator("[name=done_on]").fill("2025-07-01")
    expect(page.locator("[name=standards]")).to_be_hidden()
    expect(page.get_by_text("No standard of this site has a certificate")).to_be_visible()


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_a_filled_form_is_stored_and_shows_its_receipt(at_the_form):
    page = at_the_form
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.locator("[name=done_on]").fill("2026-07-01")
    page.locator("[name=cautions_read]").check()
    page.locator("[name=standards]").check()
    fill_as_found(page)
    page.get_by_role("button", name="Submit the calibration").click()
    expect(page.get_by_role("heading", name="Submitted")).to_be_visible()
    record = Calibration.objects.get()
    expect(page.locator("#receipt")).to_contain_text(record.content_sha256[:12])
    assert [f"{e:.2f}" for e in record.found_errors] == ["0.10"] * 9
    assert_no_barrier(page)
    assert said == []


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_signed_out_meanwhile_nothing_typed_is_lost(at_the_form):
    page = at_the_form
    fill_as_found(page)
    page.context.clear_cookies()
    page.get_by_role("button", name="Submit the calibration").click()
    expect(page.locator("[data-trouble]")).to_contain_text("You have been signed out")
    expect(page.locator("[name=found-4-observed]")).to_have_value("20.016")
