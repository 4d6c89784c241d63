"""G4t: the guided job on a slow phone (Chromium, its processor slowed four times), and what it
weighs.

Not beside a floor but beside what a person holding it needs: the ratio is measured / at most.
"""

from __future__ import annotations

import gzip
import json
import os
import shutil
import statistics
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import find
from django.db import connection
from django.test import Client, override_settings
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from playwright.sync_api import Page, sync_playwright
from pytest_django.live_server_helper import LiveServer

from calibration.tablet.shell_views import _page, _release
from plant.people.models import Person
from tests.bench.fleet import empty
from tests.bench.pairs import Row
from tests.browser.guided import OUTPUT, Guided, publish
from tests.calibration.tablet.field_works import a_content, a_pack_job, send, sign
from tests.conftest import BROWSER_WORDS
from tests.makers import a_certified_standard, a_job, a_person, an_equipped_point

SLOWED, KEYS, OPENINGS = 4, 60, 9
JOBS = 30
# From each key to the frame that shows what it did, as the browser itself times its events (in
# steps of 8 ms).
WATCH = """() => {
  window.waits = [];
  new PerformanceObserver((list) => {
    for (const one of list.getEntries()) if (one.name === "keydown") window.waits.push(one.duration);
  }).observe({ type: "event", durationThreshold: 16 });
}"""
# By the page's own clock, from the navigation or the tap to the frame that shows it: what drives
# the browser looks for things in the page too, on the same slowed processor, and a person does not
# wait for that.
SHOWN = """(() => {
  window.shown = {};
  let tapped = null;
  const painted = (name, from) => requestAnimationFrame(() => setTimeout(() => {
    window.shown[name] = performance.now() - from;
  }));
  addEventListener("click", () => { tapped = performance.now(); }, true);
  new MutationObserver(() => {
    if (!("list" in window.shown) && document.querySelector(".jobline")) painted("list", window.shown.list = 0);
    if (tapped === null || !document.querySelector("#observed-0")) return;
    painted("job", tapped);
    tapped = null;
  }).observe(document, { childList: true, subtree: true });
})();"""


def run(scale: int | None) -> list[Row]:
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    technician = a_person("tquillane", "technician", name="T. Quillane")
    a_certified_standard("MM-01")
    publish("cap-output", OUTPUT)
    for n in range(JOBS):
        a_job(an_equipped_point(f"LT-{101 + n}A"), by=technician)
    try:
        with override_settings(ALLOWED_HOSTS=["*"]):
            rows = [*_weights(technician), *_on_the_phone(technician), _submit(technician)]
    finally:
        empty()
        with (
            connection.cursor() as cursor
        ):  # those of the live server's threads, else the database stays in use
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
    return rows


def _row(what: str, measured: float, most: float, *, rows: int = 1) -> Row:
    ratio = measured / most
    return Row("G4t", what, rows, most, measured, ratio, (ratio, ratio), 1.0)


def _weights(technician: Person) -> list[Row]:
    """Bytes as they travel, compressed; the columns headed ms hold kB here."""
    client = Client()
    client.force_login(technician)
    _, files = _release()
    parts = [_page().encode()]
    for address in files:
        path = find(address.removeprefix(settings.STATIC_URL))
        parts.append(Path(str(path)).read_bytes())
    weight = sum(len(gzip.compress(part)) for part in parts) / 1000
    pack = client.get("/field/pack/").content
    jobs = len(json.loads(pack)["jobs"])
    small = len(gzip.compress(pack)) / 1000
    return [
        _row("the page and all it needs, compressed, kB", weight, 200, rows=len(parts)),
        _row(f"a pack of {jobs} jobs, kB (compressed {small:.0f})", len(pack) / 1000, 1000, rows=jobs),
    ]  # fmt: skip


def _submit(technician: Person) -> Row:
    client, now = Client(), timezone.now()
    client.force_login(technician)
    job = a_job(an_equipped_point("LT-201A"), by=technician)
    content = a_content(a_pack_job(job, by=technician, at=now), at=now)
    sign(client, content, at=now)
    with CaptureQueriesContext(connection) as asked:
        answer = send(client, content)
    if answer.status_code != 201:
        raise RuntimeError(answer.content.decode())
    packed = [one["sql"] for one in asked if one["sql"] not in ("BEGIN", "COMMIT")]
    return _row("submit of one job, statements without BEGIN and COMMIT", len(packed), 15)


def _on_the_phone(technician: Person) -> list[Row]:
    server = LiveServer("localhost")
    try:
        with sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path=shutil.which("chromium"), args=BROWSER_WORDS
            )
            page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
            rows = _measured(page, server.url, technician)
            browser.close()
    finally:
        server.stop()
    return rows


def _measured(page: Page, url: str, technician: Person) -> list[Row]:
    def session_of(person: Person) -> Any:
        client = Client()
        client.force_login(person)
        return client

    guided = Guided(page, url).sign_in(session_of, technician)
    guided.begin("LT-101A")
    guided.prepare()
    guided.heading("As found, 0\u00a0%")
    page.evaluate("async () => { await navigator.serviceWorker.ready; }")
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    page.evaluate(WATCH)
    field = page.locator("#observed-0")
    for n in range(KEYS // 6):
        field.fill("")
        for key in f"4.{100 + n}1":
            page.keyboard.press(key)
            time.sleep(0.12)
    page.wait_for_timeout(500)
    waits = page.evaluate("() => window.waits")
    page.context.set_offline(True)
    page.add_init_script(SHOWN)
    opens = [_opened(page, url) for _ in range(OPENINGS)]
    late = sorted(waits)[int(0.95 * (len(waits) - 1))]
    return [
        _row("key press to its error on the screen, ms, median", statistics.median(waits), 50, rows=len(waits)),
        _row("the same, of twenty presses the slowest", late, 50, rows=len(waits)),
        _row("opening a fetched job offline, list and job, ms", statistics.median(opens), 1000, rows=len(opens)),
    ]  # fmt: skip


def _opened(page: Page, url: str) -> float:
    """The list from nothing, then the reading of a job begun: both together, ms."""
    page.goto("about:blank")
    page.goto(f"{url}/field/", wait_until="commit")
    page.locator(".jobline").first.wait_for()
    page.wait_for_timeout(300)  # a person looks for the line before tapping it
    page.locator(".jobline", has_text="LT-101A").click()
    page.locator("#observed-0").wait_for()
    page.wait_for_timeout(300)
    shown = page.evaluate("() => window.shown")
    return shown["list"] + shown["job"]
