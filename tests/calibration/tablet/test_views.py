"""The addresses a tablet asks: who, pack, signing, sending, photos; each clause of what was agreed
with the device.
"""

from __future__ import annotations

import datetime as dt
import gzip
import hashlib
import io
import json
import uuid
from pathlib import Path

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from PIL import Image

from calibration.approval.unusual import unusual
from calibration.jobs import acts as jobs
from calibration.records.models import Calibration
from calibration.tablet.models import FieldPhoto, FieldWork
from plant.points.models import MeasuringPoint
from tests.calibration.tablet.field_works import (
    PASSWORD,
    a_content,
    a_pack_job,
    send,
    sha_of,
    sign,
    text_of,
)
from tests.files import a_picture
from tests.folded import folded
from tests.makers import an_approved_record

pytestmark = pytest.mark.django_db


@pytest.fixture
def tablet(technician, sign_in) -> Client:
    return sign_in(technician)


@pytest.fixture
def packed(job, technician, now):
    return a_pack_job(job, by=technician, at=now)


@pytest.fixture
def content(packed, now):
    return a_content(packed, at=now)


# ---- who ----
def test_who_tells_the_session_the_token_and_the_clock(tablet, technician):
    answer = tablet.get("/field/who/")
    packed = answer.json()
    assert packed["person"] == {"id": technician.pk, "name": "T. Quillane", "username": "tquillane"}
    assert len(packed["csrf"]) == 64
    assert abs(dt.datetime.fromisoformat(packed["now"]) - timezone.now()) < dt.timedelta(seconds=20)
    assert "no-store" in answer.headers["Cache-Control"]


def test_who_answers_the_signed_out_too(client):
    assert client.get("/field/who/").json()["person"] is None


def test_the_token_of_who_lets_a_send_through(technician, packed, now):
    client = Client(enforce_csrf_checks=True)
    client.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    content = a_content(packed, at=now)
    body = {
        "password": PASSWORD,
        "device": "Tablet 3",
        "device_at": now.isoformat(),
        "works": [
            {
                "submission": content["submission"],
                "job": content["job"],
                "sha256": sha_of(text_of(content)),
            }
        ],
    }
    ask = {"data": json.dumps(body), "content_type": "application/json"}
    assert client.post("/field/sign/", **ask).status_code == 403
    token = client.get("/field/who/").json()["csrf"]
    assert client.post("/field/sign/", **ask, headers={"X-CSRFToken": token}).status_code == 200


# ---- pack ----
def test_the_pack_is_kept_by_nobody_and_zipped(tablet, job):
    answer = tablet.get("/field/pack/", headers={"Accept-Encoding": "gzip"})
    assert "no-store" in answer.headers["Cache-Control"]
    assert json.loads(gzip.decompress(answer.content))["jobs"][0]["id"] == job.pk


def test_signed_out_everything_but_who_answers_401(client, content):
    for answer in (
        client.get("/field/pack/"),
        sign(client, content, at=timezone.now()),
        send(client, content),
        client.put(f"/field/works/{content['submission']}/photos/{'0' * 64}/", b"x"),
    ):
        assert answer.status_code == 401
        assert answer.json()["said"]


# ---- signing ----
def test_a_wrong_password_signs_nothing_and_counts_as_a_failed_sign_in(tablet, content, now):
    answer = sign(tablet, content, at=now, password="wrong horse")
    assert answer.status_code == 403
    assert "not your password" in answer.json()["said"]
    assert not FieldWork.objects.exists()
    assert AccessAttempt.objects.get(username="tquillane").failures_since_start == 1
    assert sign(tablet, content, at=now).status_code == 200
    assert not AccessAttempt.objects.exists()  # as after a sign-in


def test_five_wrong_passwords_lock_signing_and_sign_in_alike(tablet, content, now):
    said = [sign(tablet, content, at=now, password="wrong horse") for _ in range(5)]
    assert [answer.status_code for answer in said] == [403] * 4 + [429]
    locked = sign(tablet, content, at=now)
    assert (locked.status_code, "15 minutes" in locked.json()["said"]) == (429, True)
    entry = Client().post("/sign-in/", {"username": "tquillane", "password": PASSWORD})
    assert entry.status_code == 429
    assert not FieldWork.objects.exists()
    assert tablet.get("/field/pack/").status_code == 200  # the session itself goes on


@pytest.mark.parametrize(
    "more",
    [
        {"works": []},
        {"works": "all"},
        {"works": [{"submission": "x", "job": 1, "sha256": "0" * 64}]},
        {"works": [{"submission": str(uuid.uuid4()), "job": 1, "sha256": "Z" * 64}]},
        {"device_at": "now"},
        {"device_at": "2026-11-02T10:00:00"},
        {"password": None},
    ],
)
def test_what_cannot_be_read_is_refused_in_words(tablet, content, now, more):
    answer = sign(tablet, content, at=now, **more)
    assert answer.status_code == 422
    assert answer.json()["said"]
    assert not AccessAttempt.objects.exists()


def test_a_changed_content_comes_back_among_the_refused(tablet, content, now):
    sign(tablet, content, at=now)
    answer = sign(tablet, content | {"note": "later thought"}, at=now).json()
    assert answer["signed"] == []
    assert answer["refused"][0]["submission"] == content["submission"]


# ---- sending ----
def test_a_signed_work_is_stored_once_and_tells_what_happens_next(tablet, content, approver, now):
    assert sign(tablet, content, at=now).json()["signed"] == [content["submission"]]
    first, again = send(tablet, content), send(tablet, content)
    assert (first.status_code, again.status_code) == (201, 200), first.json()
    record = Calibration.objects.get()
    assert first.json() == again.json()
    packed = first.json()
    assert (packed["state"], packed["record"], packed["url"]) == (
        "stored",
        record.pk,
        f"/records/{record.pk}/",
    )
    assert (packed["found"]["verdict"], packed["rule"]) == ("pass", "simple acceptance")
    due = record.done_on.replace(year=record.done_on.year + 1)
    assert packed["next"] == {
        "approvers": [approver.name],
        "due_on": due.isoformat(),
        "moves_due": True,
        "interval": "12 months",
        "finding": False,
        "label_url": f"/points/{record.point_id}/label/",
        "adjust_said": "As found +0.10 %, within the adjust limit of "
        "±0.50\N{NO-BREAK SPACE}% of span; "
        "nothing was adjusted.",
    }
    assert packed["photos_missing"] == []


def test_what_happens_next_holds_once_it_is_approved(tablet, packed, approver, technician, now):
    """Out of tolerance as found: a finding opens. The due date is the one that the approval then
    gives.
    """
    from calibration.approval import acts as approval_acts

    content = a_content(packed, at=now, found=[1.4] * 9, left=[0] * 9)
    sign(tablet, content, at=now)
    after = send(tablet, content).json()["next"]
    record = Calibration.objects.get()
    approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=now)
    record.refresh_from_db()
    assert after["finding"]
    assert record.finding
    assert after["due_on"] == record.point.due_on.isoformat()
    assert "beyond" in after["adjust_said"]
    assert send(tablet, content).json()["next"]["due_on"] == after["due_on"]


def test_the_adjust_limit_is_about_zero_where_the_tolerance_is_unequal(
    tablet, job, technician, now
):
    """From −2 to +1 % of span +0.3 lies nearer its own limit than −0.7, which lies further from
    zero.
    """
    MeasuringPoint.objects.filter(pk=job.point_id).update(tolerance_down=2)
    job.refresh_from_db()
    pack = a_pack_job(job, by=technician, at=now)
    content = a_content(pack, at=now, found=[0.3, -0.7, *[0.0] * 7])
    sign(tablet, content, at=now)
    answer = send(tablet, content).json()
    assert answer["found"]["largest"] == pytest.approx(0.3, abs=0.01)
    assert answer["next"]["adjust_said"].startswith("As found −0.70 %, beyond the adjust limit")
    said = " ".join(unusual(Calibration.objects.get(), []))
    assert "largest as-found error was −0.70 % of span against the adjust limit" in said


def test_it_says_which_job_was_set_aside_and_why(
    tablet, content, second_technician, planner, job, now
):
    sign(tablet, content, at=now)
    jobs.hand_over(job, to=second_technician, by=planner)
    first, again = send(tablet, content), send(tablet, content)
    assert (first.status_code, again.status_code) == (202, 200)
    work = FieldWork.objects.get()
    assert first.json()["state"] == "set aside"
    assert first.json()["url"] == f"/set-aside/{work.pk}/"
    assert "R. Ostervane" in first.json()["troubles"][0]["said"]


def test_not_signed_not_mine_and_not_the_same_are_told_apart(
    tablet, content, second_technician, sign_in, now
):
    assert send(tablet, content).status_code == 403
    sign(tablet, content, at=now)
    assert send(sign_in(second_technician), content).status_code == 403
    assert send(tablet, content, text=text_of(content) + " ").status_code == 409
    assert send(tablet, content, text="").status_code == 422
    large = send(tablet, content, text="x" * (2 * 1024 * 1024 + 1))
    assert (large.status_code, "2 MB" in large.json()["said"]) == (413, True)
    assert FieldWork.objects.get().content == ""


@pytest.mark.parametrize("left", [None, [0.05] * 9])
def test_a_submit_takes_fifteen_queries(tablet, packed, approver, now, left):
    content = a_content(packed, at=now, found=[0.7] * 9, left=left)
    sign(tablet, content, at=now)
    with CaptureQueriesContext(connection) as asked:
        assert send(tablet, content).status_code == 201
    # Here the transaction of the test makes those savepoints that are a BEGIN and COMMIT on the
    # site.
    kept = [q["sql"][:90] for q in asked if not q["sql"].startswith(("SAVEPOINT", "RELEASE"))]
    assert len(kept) <= 15, "\n".join(kept)
    assert len(asked) - len(kept) == 2


# ---- photos ----
def put(client: Client, content, picture: bytes, *, sha: str = ""):
    address = f"/field/works/{content['submission']}/photos/{sha or sha_of(picture)}/"
    return client.put(address, picture, content_type="image/jpeg")


@pytest.fixture
def data(tmp_path, settings) -> Path:
    settings.DATA = tmp_path
    return tmp_path


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_named_photo_is_encoded_anew_and_shown_to_the_site(
    kind, data, tablet, packed, now, auditor, outsider, sign_in
):
    place = Image.Exif()
    place[0x8825] = {1: "N", 2: (53.0, 1.0, 2.0)}
    more = {"exif": place} if kind == "JPEG" else {}
    picture = a_picture(kind, **more) + b"<script>alert(1)</script>"
    named = {
        "sha256": sha_of(picture),
        "step": 2,
        "taken_at": now.isoformat(),
        "type": "image/jpeg",
    }
    content = a_content(packed, at=now, photos=[named])
    sign(tablet, content, at=now)
    assert send(tablet, content).json()["photos_missing"] == [sha_of(picture)]
    assert [put(tablet, content, picture).status_code for _ in range(2)] == [201, 200]
    assert send(tablet, content).json()["photos_missing"] == []
    photo = FieldPhoto.objects.get()
    assert (photo.step, photo.taken_at) == (2, now)
    address = f"/field/works/{content['submission']}/photos/{photo.sha256}/"
    answer = sign_in(auditor).get(address)
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert b"script" not in answer.content
    assert hashlib.sha256(answer.content).hexdigest() == photo.stored_sha256
    with Image.open(io.BytesIO(answer.content)) as kept:
        assert (kept.size, dict(kept.getexif())) == ((640, 480), {})
    with Image.open(io.BytesIO(sign_in(auditor).get(f"{address}?small").content)) as small:
        assert max(small.size) == 320
    assert sign_in(outsider).get(address).status_code == 404
    names = [path.name for path in (data / "photos").iterdir()]
    assert len(names) == 2
    assert photo.sha256 not in "".join(names)


def test_a_large_photo_is_kept_smaller(data, tablet, packed, now):
    picture = a_picture(size=(5000, 300))
    content = a_content(packed, at=now, photos=[{"sha256": sha_of(picture), "step": 1}])
    sign(tablet, content, at=now)
    send(tablet, content)
    assert put(tablet, content, picture).status_code == 201
    answer = tablet.get(f"/field/works/{content['submission']}/photos/{sha_of(picture)}/")
    with Image.open(io.BytesIO(answer.content)) as kept:
        assert kept.width == 2560


def test_a_photo_may_come_before_the_content_and_finds_its_step(data, tablet, packed, now):
    picture = a_picture()
    content = a_content(packed, at=now, photos=[{"sha256": sha_of(picture), "step": 2}])
    assert put(tablet, content, picture).status_code == 403  # not signed yet
    sign(tablet, content, at=now)
    assert put(tablet, content, picture).status_code == 201
    answer = send(tablet, content).json()
    assert answer["photos_missing"] == []
    page = tablet.get(answer["url"]).content.decode()
    assert "Photo of step 2, opens in full" in page


def bomb() -> bytes:
    """A picture of 100 megapixels in a few kilobytes."""
    target = io.BytesIO()
    Image.new("1", (10_000, 10_000)).save(target, "PNG")
    return target.getvalue()


@pytest.mark.parametrize(
    ("picture", "sha", "status", "said"),
    [
        (b"%PDF-1.7 no picture", "", 422, "no JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "", 422, "no JPEG"),
        (a_picture()[:2000], "", 422, "no JPEG"),
        (bomb(), "", 422, "50 megapixels"),
        (a_picture(), "0" * 64, 422, "names no such photo"),
        (b"x" * (8 * 1024 * 1024 + 1), "", 413, "8 MB"),
    ],
)
def test_what_is_no_photo_of_the_work_is_not_kept(
    picture, sha, status, said, data, tablet, packed, now
):
    content = a_content(packed, at=now, photos=[{"sha256": sha_of(picture), "step": 1}])
    sign(tablet, content, at=now)
    send(tablet, content)
    answer = put(tablet, content, picture, sha=sha)
    assert (answer.status_code, said in answer.json()["said"]) == (status, True), answer.json()
    assert not FieldPhoto.objects.exists()


def test_another_s_photo_and_another_s_bytes_are_refused(
    data, tablet, packed, now, second_technician, sign_in
):
    picture, other = a_picture(), a_picture()
    content = a_content(packed, at=now, photos=[{"sha256": sha_of(picture), "step": 1}])
    sign(tablet, content, at=now)
    assert put(sign_in(second_technician), content, picture).status_code == 403
    assert put(tablet, content, other, sha=sha_of(picture)).status_code == 422
    assert not FieldPhoto.objects.exists()


def test_a_work_holds_forty_photos(data, tablet, content, now, monkeypatch):
    monkeypatch.setattr("calibration.tablet.acts.MOST_PHOTOS", 2)
    sign(tablet, content, at=now)
    small = [a_picture(size=(20, 20)) for _ in range(3)]
    assert [put(tablet, content, one).status_code for one in small] == [201, 201, 422]


# ---- what the pages show ----
def test_the_record_shows_steps_times_clock_and_tablet(
    data, tablet, packed, now, approver, sign_in
):
    picture = a_picture()
    ahead = dt.timedelta(minutes=9)
    content = a_content(
        packed,
        at=now + ahead,
        done_on=now.date().isoformat(),
        photos=[{"sha256": sha_of(picture), "step": 2}],
    )
    content["steps"][1] |= {"done_at": None, "skipped_why": "no dip hatch"}
    content["steps"][2] |= {
        "answers": [{"label": "loop", "value": "12.01", "unit": "mA"}],
        "note": "windy",
    }
    sign(tablet, content, at=now + ahead)
    record = send(tablet, content).json()["record"]
    put(tablet, content, picture)
    client = sign_in(approver)
    for address in (f"/records/{record}/", f"/records/{record}/approve/"):
        with CaptureQueriesContext(connection) as asked:
            page = client.get(address).content.decode()
        for text in (
            "Steps carried out",
            "Permit in force.",
            "no dip hatch",
            "loop: 12.01 mA",
            "windy",
            "9 min ahead",
            "Photo of step 2, opens in full",
            "recorded on a tablet",
            "Read at",
            "Tablet 3",
        ):
            assert text in page, (address, text)
        assert len(asked) <= 12, [q["sql"][:80] for q in asked]


def test_a_clock_within_five_minutes_is_not_mentioned(tablet, packed, now):
    content = a_content(packed, at=now)
    sign(tablet, content, at=now + dt.timedelta(minutes=4))
    page = tablet.get(send(tablet, content).json()["url"]).content.decode()
    assert "clock off" not in page


def test_a_typed_record_has_no_such_section(sign_in, technician, approver):
    record = an_approved_record(by=technician, approved_by=approver)
    assert (
        "Steps carried out"
        not in sign_in(technician).get(record.get_absolute_url()).content.decode()
    )


def test_the_job_tells_of_a_work_that_is_signed_but_not_here(
    tablet, content, job, now, planner, sign_in
):
    sign(tablet, content, at=now)
    for client in (tablet, sign_in(planner)):
        page = folded(client.get(job.get_absolute_url()))
        assert "its data are still on the tablet" in page
    send(tablet, content)
    assert "its data are still" not in tablet.get(job.get_absolute_url()).content.decode()


def test_nothing_of_a_tablet_is_written_to_a_log(tablet, content, now, caplog):
    sign(tablet, content, at=now, password="wrong horse")
    sign(tablet, content, at=now)
    key = tablet.get("/field/pack/").json()["key"]
    send(tablet, content)
    assert "wrong horse" not in caplog.text
    assert PASSWORD not in caplog.text
    assert key not in caplog.text
    assert settings.AXES_SENSITIVE_PARAMETERS
