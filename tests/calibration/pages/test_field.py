"""The addresses a tablet asks: who, pack, signing, sending, photos; each clause of what was agreed with the device."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calibration.models import Calibration, FieldWork, Job
from calibration.operations.field_packs import pack
from tests.calibration.field_works import a_content, a_pack_job, send, sign, text_of
from tests.makers import a_job, a_procedure, an_equipped_point

pytestmark = pytest.mark.django_db


@pytest.fixture
def now() -> dt.datetime:
    return timezone.now()


@pytest.fixture
def job(technician) -> Job:
    a_procedure()
    return a_job(an_equipped_point(), by=technician)


@pytest.fixture
def tablet(technician, sign_in) -> Client:
    return sign_in(technician)


@pytest.fixture
def content(job, technician, now):
    return a_content(a_pack_job(job, by=technician, at=now), at=now)


def test_a_signed_work_is_stored_once_and_tells_what_happens_next(tablet, content, approver, now):
    assert sign(tablet, content, at=now).json()["signed"] == [content["submission"]]
    first, again = send(tablet, content), send(tablet, content)
    assert (first.status_code, again.status_code) == (201, 200), first.json()
    record = Calibration.objects.get()
    assert first.json() == again.json()
    told = first.json()
    assert (told["state"], told["record"], told["found"]["verdict"]) == (
        "stored",
        record.pk,
        "pass",
    )
    assert told["next"]["approvers"] == [approver.name]
    assert record.source == "tablet"


@pytest.mark.parametrize("left", [None, [0.05] * 9])
def test_a_submit_takes_fifteen_queries(tablet, job, technician, approver, now, left):
    told = a_pack_job(job, by=technician, at=now)
    content = a_content(told, at=now, found=[0.7] * 9, left=left)
    sign(tablet, content, at=now)
    with CaptureQueriesContext(connection) as asked:
        assert send(tablet, content).status_code == 201
    kept = [q["sql"][:90] for q in asked if not q["sql"].startswith(("SAVEPOINT", "RELEASE"))]
    assert len(kept) <= 15, "\n".join(kept)
