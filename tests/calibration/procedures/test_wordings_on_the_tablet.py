"""Beside a step the tablet shows the same wordings as the page of the job: the shared cases, in a
real browser.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

CASES = json.loads((Path(__file__).parent / "wording_cases.json").read_text(encoding="utf-8"))
SHOWN = """async ([url, cases]) => {
  const { stepText } = await import(url);
  return cases.map(({ devices, transmitter, site }) => {
    const wordings = [{ site: site ?? 1, devices, text: "Hold for 3 s." }];
    const step = { text: "Zero.", stop: "", wordings };
    const [, added] = stepText({ job: { site: 1, transmitter } }, step);
    return added.length === 1;
  });
}"""


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_tablet_shows_a_wording_for_the_same_devices(page, live_server):
    page.goto(f"{live_server.url}/sign-in/")
    elsewhere = {"devices": "", "transmitter": None, "site": 2}
    url = f"{live_server.url}/static/field/screens/asides.js"
    fitting = page.evaluate(SHOWN, [url, [*CASES, elsewhere]])
    assert fitting == [*(case["fits"] for case in CASES), False]
