"""Every address of the site × method × role × own or other site, against the hand-written
tests/access_matrix.py.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from calibration.deferrals.models import Deferral
from calibration.drift.models import JumpQuestion
from calibration.families.models import Family
from calibration.findings.models import Finding
from calibration.jobs import acts as jobs
from calibration.procedures.models import SiteWording
from calibration.reminders.models import Digest, ReminderScan
from calibration.tablet.models import FieldWork
from plant.importing.models import ImportBatch
from plant.ledger.models import LedgerEntry
from tests.access_matrix import FOR_DEVICES, KINDS, OPEN_TO_ALL, ROWS, Row
from tests.makers import (
    NOON,
    TODAY,
    a_certificate,
    a_procedure,
    a_proposal,
    a_record,
    a_round,
    a_standard,
    an_approved_record,
    an_equipped_point,
)

ROLES = ["planner", "technician", "approver", "auditor", "administrator", "outsider"]
METHODS = ["GET", "POST", "PUT", "PATCH", "DELETE"]


def addresses() -> set[str]:
    """The names of all addresses, with their namespace."""

    def walk(patterns, space: str):
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
                yield from walk(pattern.url_patterns, inner)
            elif isinstance(pattern, URLPattern):
                yield f"{space}{pattern.name}"

    return set(walk(get_resolver().url_patterns, ""))


def test_every_address_has_its_rows_in_the_matrix():
    known = {row.name for row in ROWS} | OPEN_TO_ALL
    assert addresses() - known == set(), "addresses missing in tests/access_matrix.py"
    assert known - addresses() == set(), "rows for addresses that are gone"


def test_every_row_is_written_once():
    keys = [(row.name, row.method) for row in ROWS]
    assert len(keys) == len(set(keys))


@pytest.fixture
def things(planner, technician, second_technician, approver):
    """One row of each kind at the site, under the words that the matrix uses; arguments for
    ``reverse``.
    """
    point = an_equipped_point("LT-101A")
    installation = point.installations.get()
    approved = an_approved_record(
        an_equipped_point("LT-101B"),
        by=technician,
        approved_by=approver,
        found=[1.4] * 9,
        left=[0] * 9,
    )
    failed = an_approved_record(
        an_equipped_point("LT-101E"), by=technician, approved_by=approver, found=[1.4] * 9
    )
    waiting = a_record(an_equipped_point("LT-101C"), by=technician)
    job = jobs.start(point, by=technician)
    standard = a_standard("DT-02")
    deferral = Deferral.objects.create(
        site=point.site, point=approved.point, due_on=approved.point.due_on, reason="ship at the berth",
        until=dt.date(2028, 1, 1), asked_by=technician, asked_at=NOON,
    )  # fmt: skip
    digest = Digest.objects.create(
        site=point.site, person=technician, day=TODAY, message_id="<one@spanbook>", made_at=NOON
    )
    held = ReminderScan.objects.create(site=point.site, day=TODAY, at=NOON, lines=900, held=True)
    batch = ImportBatch.objects.create(
        site=point.site, kind="register", file_name="register.csv", stored_as="none", sha256="0" * 64, size=1,
        uploaded_by=planner, uploaded_at=NOON, state="refused", problems_found=1,
    )  # fmt: skip
    route = a_round([an_equipped_point("LT-101D")], technician=technician, by=planner)
    step = JumpQuestion.objects.create(
        site=point.site, point=approved.point, record=approved, end="span", size_percent=0.8, chance=0.001,
        kind="step", raised_at=NOON,
    )  # fmt: skip
    signed = FieldWork.objects.create(
        submission=KINDS["work"]["submission"], site=point.site, job=job, person=technician,
        content_sha256="0" * 64, signed_at=NOON,
    )  # fmt: skip
    aside = FieldWork.objects.create(
        submission=uuid.uuid4(), site=point.site, job=job, person=technician, state="set aside", content="{}",
        content_sha256=hashlib.sha256(b"{}").hexdigest(), signed_at=NOON, received_at=NOON,
        troubles=[{"what": "content", "said": "It cannot be read."}],
    )  # fmt: skip
    rows = {
        "signed": signed,
        "set aside": aside,
        "family": Family.objects.create(
            key="capacitance rod, insulating", principle="capacitance rod", conducts=False
        ),
        "step": step,
        "site": point.site,
        "point": point,
        "tank": point.tank,
        "product": point.tank.product,
        "transmitter": installation.transmitter,
        "area": point.tank.area,
        "installation": installation,
        "person": second_technician,
        "appointment": second_technician.appointments.get(),
        "job": job,
        "record": approved,
        "waiting": waiting,
        "finding": Finding.objects.get(record=approved),
        "standard": standard,
        "certificate": a_certificate(standard),
        "deferral": deferral,
        "digest": digest,
        "held": held,
        "import": batch,
        "round": route,
        "stop": route.stops.get(),
        "proposal": a_proposal(point, months=6),
        "entry": LedgerEntry.objects.filter(site=point.site)[0],
    }
    version = a_procedure()
    rows["wording"] = SiteWording.objects.create(
        site=point.site,
        procedure=version.procedure,
        step_key="T5",
        text="Hold the button for about 3 s.",
    )
    named = {
        "duty": {"site": point.site_id, "duty": "safety"},
        "reason": {"pk": failed.point_id, "kind": "failed", "of": failed.pk},
    }
    return {name: {"pk": row.pk} for name, row in rows.items()} | KINDS | named


@pytest.fixture
def cast(planner, technician, approver, auditor, administrator, outsider, sign_in):
    people = (planner, technician, approver, auditor, administrator, outsider)
    return {role: sign_in(person) for role, person in zip(ROLES, people, strict=True)}


def ask(client, row: Row, things, method: str | None = None):
    arguments = things[row.thing] if row.thing else {}
    return client.generic(method or row.method, reverse(row.name, kwargs=arguments))


def snapshot() -> list[int]:
    """How many rows each table of the book holds, and how many changes its history."""
    with connection.cursor() as cursor:
        # A person's key for tablets says nothing of the plant: it is made when first asked for.
        tables = [
            t
            for t in connection.introspection.table_names()
            if t.startswith(("plant_", "calib")) and t != "calibration_fieldkey"
        ]
        counts = []
        for table in sorted(tables):
            cursor.execute(f"SELECT count(*) FROM {table}")  # noqa: S608 - names from the database itself
            counts.append(cursor.fetchone()[0])
        return counts


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_each_role_gets_what_the_matrix_says(role, cast, things):
    wrong = []
    for row in ROWS:
        point = f"{row.method} {row.name}"
        before = snapshot() if row.method == "GET" else None
        status = ask(cast[role], row, things).status_code
        expected = getattr(row, role)
        if status != expected:
            wrong.append(f"{point} as {role}: {status}, the matrix says {expected}")
        if before is not None and snapshot() != before:
            wrong.append(f"{point} as {role} changed the book by a GET")
    assert wrong == []


@pytest.mark.django_db
def test_nobody_gets_anywhere_without_signing_in(client, things):
    for row in ROWS:
        answer = ask(client, row, things)
        if row.name in FOR_DEVICES:
            assert answer.status_code == 401, row
            continue
        assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (
            302,
            "/sign-in/",
        ), row


@pytest.mark.django_db
def test_methods_that_no_page_serves_change_nothing(cast, things):
    served = {(row.name, row.method) for row in ROWS}
    before = snapshot()
    for row in ROWS:
        for method in METHODS:
            if (row.name, method) in served or method in ("GET", "POST"):
                continue
            for role in ("planner", "approver"):
                assert ask(cast[role], row, things, method).status_code in (403, 404, 405, 422), (
                    row,
                    method,
                )
    assert snapshot() == before


@pytest.mark.django_db
def test_a_right_taken_away_is_gone_at_the_next_request(sign_in, planner):
    client = sign_in(planner)
    assert client.get(reverse("plant:point_new")).status_code == 200
    planner.appointments.update(ends_on=dt.date(2021, 1, 1))
    assert client.get(reverse("plant:point_new")).status_code == 403


# The one page on which all that is known of a point comes together.
MOST = {"calibration:point": 17}


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES[:4])
def test_no_page_asks_the_database_more_than_twelve_times(role, cast, things):
    """Session, person and appointments are among the twelve."""
    dear = []
    for row in ROWS:
        if row.method == "GET" and getattr(row, role) == 200:
            with CaptureQueriesContext(connection) as asked:
                answer = ask(cast[role], row, things)
                if answer.streaming:
                    b"".join(answer.streaming_content)
            if len(asked) > MOST.get(row.name, 12):
                dear.append(f"{row.name} as {role}: {len(asked)}")
    assert dear == []


LINK = re.compile(r'href="(/[^"#]*)"')
# Addresses of a device, not of a page for people.
APART = ("/static/", "/field/")


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES[:5])
def test_no_page_offers_a_link_that_is_refused(role, cast, things):
    """From a person's first page along every link, once for each kind of address."""
    refused, waiting, seen = [], ["/"], set()
    while waiting:
        path = waiting.pop()
        kind = re.sub(r"/\d+/", "/n/", path.split("?")[0])
        if kind in seen or path.startswith(APART):
            continue
        seen.add(kind)
        answer = cast[role].get(path.replace("&amp;", "&"), follow=True)
        if answer.status_code != 200:
            refused.append(f"{path}: {answer.status_code}")
        elif not answer.streaming and answer["Content-Type"].startswith("text/html"):
            waiting += LINK.findall(answer.content.decode())
    assert refused == []
    assert len(seen) > (4 if role == "administrator" else 20)
