"""Sending from a tablet through a bad network, and to a server that is killed meanwhile: each
record exactly once.

SPANBOOK_SENDS, SPANBOOK_PHOTO_WORKS and SPANBOOK_SERVER_KILLS set the counts; the full ones are
500, 100 and 20.
"""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.db import connection

from calibration.records.models import Calibration
from calibration.tablet.models import FieldPhoto, FieldWork
from calibration.tablet.photos import small_name
from plant.ledger.models import LedgerEntry
from tests.browser.sending import FILL, SEND, address_of, works_of
from tests.calibration.tablet.field_works import sha_of
from tests.proxy import Proxy

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SENDS = int(os.environ.get("SPANBOOK_SENDS", "40"))
PHOTO_WORKS, PHOTOS = int(os.environ.get("SPANBOOK_PHOTO_WORKS", "4")), 3
KILLS = int(os.environ.get("SPANBOOK_SERVER_KILLS", "5"))

BEGIN_TO_SEND = """async () => {
  const { openStore } = await import("/static/field/store.js");
  const { flush, sign } = await import("/static/field/outbox.js");
  window.store ??= await openStore();
  const works = await window.store.works();
  const ready = works.filter((work) => work.state === "ready").map((work) => work.submission);
  if (ready.length) await sign(window.store, ready, "correct horse");
  window.flushing = flush(window.store);
}"""
LEFT = """async () => {
  await window.flushing;
  return (await window.store.works()).filter((work) => work.state !== "sent").length;
}"""


def check_each_is_stored_once(works: list[dict]) -> None:
    wanted = {work["submission"] for work in works}
    stored = [str(one) for one in Calibration.objects.values_list("submission", flat=True)]
    assert len(stored) == len(works)
    assert set(stored) == wanted
    received = FieldWork.objects.filter(state="stored")
    assert {str(work.submission) for work in received} == wanted
    for work in received:
        assert sha_of(work.content) == work.content_sha256
    assert LedgerEntry.objects.filter(act="submit record").count() == len(works)


def sent_through_a_bad_network(live_server, tablet, works: list[dict], *, seed: int):
    """What the tablet tells of each work at the end, and the network with the faults it made."""
    target = address_of(live_server)
    network = Proxy(lambda path: target, seed=seed)
    try:
        page = tablet(f"http://localhost:{network.port}")
        page.evaluate(FILL, works)
        return page.evaluate(SEND, 200), network
    finally:
        network.close()


def test_through_a_bad_network_each_record_is_stored_exactly_once(live_server, tablet, technician):
    works = works_of(SENDS, technician)
    outcome, network = sent_through_a_bad_network(live_server, tablet, works, seed=20261102)
    assert {state for state, *_ in outcome} == {"sent"}, outcome
    # The network was bad: of each kind of fault there were some.
    assert set(network.done) == {"whole", "drop", "cut", "lost", "torn", "late", "twice"}
    check_each_is_stored_once(works)


def test_through_a_bad_network_each_photo_is_stored_exactly_once(
    live_server, tablet, technician, settings, tmp_path
):
    settings.DATA = tmp_path
    works = works_of(PHOTO_WORKS, technician, photos=PHOTOS)
    outcome, _ = sent_through_a_bad_network(live_server, tablet, works, seed=4)
    assert {(state, missing) for state, _, missing in outcome} == {("sent", 0)}, outcome
    check_each_is_stored_once(works)
    wanted = {(work["submission"], photo["sha256"]) for work in works for photo in work["photos"]}
    stored = [(str(photo.work.submission), photo.sha256) for photo in FieldPhoto.objects.all()]
    assert len(stored) == PHOTO_WORKS * PHOTOS
    assert set(stored) == wanted
    assert {photo.step for photo in FieldPhoto.objects.all()} == {6}
    # Each with its small picture, and no file of a photo that came twice.
    names = {photo.stored_as for photo in FieldPhoto.objects.all()}
    kept = {file.name for file in (tmp_path / "photos").iterdir()}
    assert kept == names | {small_name(name) for name in names}


class Web:
    """One more web server on the same database, to be killed."""

    def __init__(self) -> None:
        with socket.create_server(("127.0.0.1", 0)) as probe:
            self.port = probe.getsockname()[1]
        path = "/" + connection.settings_dict["NAME"]
        database = urlsplit(os.environ["DATABASE_URL"])._replace(path=path).geturl()
        self.variables = {
            **os.environ,
            "DATABASE_URL": database,
            "SPANBOOK_SECRET_KEY": settings.SECRET_KEY,
            "DJANGO_SETTINGS_MODULE": "tests.settings",
        }
        self.start()

    def start(self) -> None:
        words = [
            "-m",
            "gunicorn",
            "deploy.wsgi",
            "--bind",
            f"127.0.0.1:{self.port}",
            "--workers",
            "1",
        ]
        self.process = subprocess.Popen(
            [sys.executable, *words, "--log-level", "error"], cwd=Path(settings.BASE_DIR), env=self.variables,
            start_new_session=True,
        )  # fmt: skip

    def kill(self) -> None:
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def web() -> Iterator[Web]:
    server = Web()
    yield server
    server.kill()


def test_a_server_killed_during_a_submit_stores_each_record_exactly_once(
    live_server, tablet, technician, web
):
    """Works go to a server that is killed at random moments, everything else to one that stays."""
    chance = random.Random(5)  # noqa: S311
    works = works_of(3 * KILLS, technician)
    target = address_of(live_server)

    def route(path: str) -> tuple[str, int]:
        return ("127.0.0.1", web.port) if path.startswith("/field/works/") else target

    network = Proxy(route, seed=1, bad=0)
    try:
        page = tablet(f"http://localhost:{network.port}")
        page.evaluate(FILL, works)
        for turn in range(20 * KILLS):
            page.evaluate(BEGIN_TO_SEND)
            if turn < KILLS:
                time.sleep(chance.uniform(0.02, 0.35))
                web.kill()
            left = page.evaluate(LEFT)
            if turn < KILLS:
                web.start()
                _within(30, lambda: _answers(web.port))
            elif not left:
                break
        assert left == 0
    finally:
        network.close()
    check_each_is_stored_once(works)


def _answers(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=1):
            return True
    except OSError:
        return False


def _within(seconds: float, true) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "the server did not come back"
        time.sleep(0.1)
