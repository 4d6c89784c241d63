"""Signing to the letter: what one signature holds, what the ledger keeps of it, and what
is answered.
"""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from calibration.tablet import acts as field
from calibration.tablet.models import FieldKey, FieldPhoto, FieldWork
from calibration.tablet.refusals import NotSigned
from plant.ledger.models import LedgerEntry
from plant.refusals import Refused
from tests.calibration.tablet.field_acts import receive, sign
from tests.calibration.tablet.field_works import a_content, a_pack_job, sha_of, text_of
from tests.files import a_picture
from tests.makers import a_job, an_equipped_point
from tests.races import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def packed(job, technician, now):
    return a_pack_job(job, by=technician, at=now)


def to_sign(job, sha: str = "a" * 64) -> field.ToSign:
    return field.ToSign(uuid.uuid4(), job.pk, sha)


def sign_all(works, *, by, at, device: str = "Tablet 3", ahead: float = 0):
    device_at = at + dt.timedelta(seconds=ahead)
    return field.sign(works, device=device, device_at=device_at, by=by, at=at)


# ---- one signature ----
def test_at_most_a_hundred_works_are_signed_at_once(job, technician, now):
    done = sign_all([to_sign(job) for _ in range(101)], by=technician, at=now)
    assert len(done.signed) == FieldWork.objects.count() == 100
    assert done.refused == []


def test_the_ledger_keeps_job_content_tablet_and_clock(job, technician, now):
    work = to_sign(job, "b" * 64)
    done = sign_all([work], by=technician, at=now, device="T" * 130, ahead=-61.6)
    assert done.skew_seconds == pytest.approx(-61.6)
    entry = LedgerEntry.objects.get(act="sign work")
    assert entry.details == {
        "job": job.pk,
        "content": "b" * 64,
        "tablet": "T" * 120,
        "tablet's clock ahead by, s": -62,
    }


def test_the_same_content_for_another_job_is_refused_and_entered(job, technician, now):
    work = to_sign(job)
    sign_all([work], by=technician, at=now)
    other = a_job(an_equipped_point("LT-102A"), by=technician)
    done = sign_all([field.ToSign(work.submission, other.pk, work.sha256)], by=technician, at=now)
    [(submission, why)] = done.refused
    assert (submission, done.signed) == (work.submission, [])
    assert "with other entries" in why
    entry = LedgerEntry.objects.get(act="refuse signature")
    assert (entry.why, entry.details) == (why, {"content": work.sha256})
    assert FieldWork.objects.get().job == job


def test_an_attempt_on_another_s_work_enters_nothing(job, technician, second_technician, now):
    work = to_sign(job)
    sign_all([work], by=technician, at=now)
    before = LedgerEntry.objects.count()
    done = sign_all([work], by=second_technician, at=now)
    assert "somebody else" in done.refused[0][1]
    assert LedgerEntry.objects.count() == before


def test_some_are_signed_and_some_refused_in_one_go(job, technician, now):
    good, unknown = to_sign(job), field.ToSign(uuid.uuid4(), 999_999, "c" * 64)
    done = sign_all([good, unknown], by=technician, at=now)
    assert done.signed == [good.submission]
    [(submission, why)] = done.refused
    assert submission == unknown.submission
    assert why.startswith("Job 999999 is not one at which you may calibrate")


# ---- the key of a person ----
def test_a_person_has_one_key_of_32_bytes(technician, second_technician, now):
    key = field.sealing_key(technician, at=now)
    assert len(key) == 32
    assert field.sealing_key(technician, at=now + dt.timedelta(1)) == key
    assert field.sealing_key(second_technician, at=now) != key
    assert FieldKey.objects.get(person=technician).made_at == now


@pytest.mark.django_db(transaction=True)
def test_two_tablets_at_once_get_one_key(technician, now):
    keys = at_once(*[lambda: field.sealing_key(technician, at=now)] * 4)
    assert len(set(keys)) == 1
    assert FieldKey.objects.count() == 1


# ---- received ----
def test_a_stored_work_says_what_became_of_it_and_when_it_came(packed, technician, now):
    content = a_content(packed, at=now)
    sign(content, by=technician, at=now)
    submission, text = uuid.UUID(content["submission"]), text_of(content)
    later = now + dt.timedelta(minutes=1)
    work, is_new = field.receive(submission, text, by=technician, at=later)
    assert (is_new, work.state, work.received_at) == (True, "stored", later)
    again, is_new = field.receive(submission, text, by=technician, at=later + dt.timedelta(1))
    assert (is_new, again.pk, again.received_at) == (False, work.pk, later)
    assert again.record.submitted_at == later


def test_what_cannot_be_read_is_new_once(job, technician, now):
    content = {"format": 9, "submission": str(uuid.uuid4()), "job": job.pk}
    sign(content, by=technician, at=now)
    submission, text = uuid.UUID(content["submission"]), text_of(content)
    work, is_new = field.receive(submission, text, by=technician, at=now)
    assert (is_new, work.state, work.received_at, work.content) == (True, "set aside", now, text)
    assert [trouble["what"] for trouble in work.troubles] == ["content"]
    assert field.receive(submission, text, by=technician, at=now)[1] is False


def test_what_is_set_aside_enters_its_job_and_reasons(packed, technician, now):
    content = a_content(packed, at=now, standards=[])
    sign(content, by=technician, at=now)
    work = receive(content, by=technician, at=now)
    entry = LedgerEntry.objects.get(act="set work aside")
    assert (entry.person, entry.details) == (technician, {"job": work.job_id})
    assert entry.why == work.troubles[0]["said"]


# ---- photos ----
@pytest.fixture
def data(tmp_path, settings):
    settings.DATA = tmp_path
    return tmp_path


def files(data) -> int:
    return sum(path.is_file() for path in data.rglob("*.jpg"))


def test_a_photo_is_kept_once_and_only_of_one_s_own_work(
    data, job, technician, second_technician, now
):
    work = to_sign(job)
    sign_all([work], by=technician, at=now)
    picture = a_picture()
    kept = {"sha256": sha_of(picture), "content": picture, "at": now}
    with pytest.raises(NotSigned):
        field.keep_photo(work.submission, by=second_technician, **kept)
    assert field.keep_photo(work.submission, by=technician, **kept) is True
    assert field.keep_photo(work.submission, by=technician, **kept) is False
    row = FieldPhoto.objects.get()
    assert (row.received_at, row.sha256, files(data)) == (now, sha_of(picture), 2)


def test_a_photo_too_many_leaves_no_file(data, job, technician, now, monkeypatch):
    monkeypatch.setattr(field, "MOST_PHOTOS", 1)
    work = to_sign(job)
    sign_all([work], by=technician, at=now)
    for number in (1, 2):
        picture = a_picture()
        facts = {"sha256": sha_of(picture), "content": picture, "by": technician, "at": now}
        if number == 1:
            assert field.keep_photo(work.submission, **facts)
            continue
        with pytest.raises(Refused, match="up to 1 photos"):
            field.keep_photo(work.submission, **facts)
    assert (FieldPhoto.objects.count(), files(data)) == (1, 2)
