"""Works from the plant: signed, received, set aside; what races and wrong clocks do to them."""

from __future__ import annotations

import datetime as dt
import io
import uuid
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone
from PIL import Image

from calibration.jobs import acts as jobs
from calibration.records import acts as records
from calibration.records.models import Adjustment, Calibration, Reading, StepTaken
from calibration.standards import acts as standards
from calibration.tablet import acts as field
from calibration.tablet.models import FieldWork
from calibration.tablet.refusals import NotAsSigned, NotSigned
from plant.ledger.models import LedgerEntry
from plant.people.models import Person
from plant.refusals import NotAllowed
from plant.transmitters.models import Installation
from tests.calibration.tablet.field_acts import receive, sign
from tests.calibration.tablet.field_works import a_content, a_pack_job, sha_of, text_of
from tests.makers import (
    a_job,
    a_procedure,
    a_sent_record,
    a_transmitter,
    an_equipped_point,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)


@pytest.fixture
def packed(job, technician, now):
    return a_pack_job(job, by=technician, at=now)


@pytest.fixture
def signed(packed, technician, now):
    """A signed content, ready to be sent."""
    content = a_content(packed, at=now)
    sign(content, by=technician, at=now)
    return content


def what(work: FieldWork) -> set[str]:
    return {trouble["what"] for trouble in work.troubles}


# ---- signing ----
def test_signing_keeps_hash_clock_and_tablet_and_enters_one_line(packed, technician, now):
    content = a_content(packed, at=now)
    done = sign(content, by=technician, at=now, ahead=dt.timedelta(seconds=400))
    work = FieldWork.objects.get()
    assert done.signed == [work.submission]
    assert done.skew_seconds == pytest.approx(400)
    assert (work.state, work.content, work.skew_seconds) == ("signed", "", pytest.approx(400))
    assert [e.person for e in LedgerEntry.objects.filter(act="sign work")] == [technician]


def test_signing_the_same_again_changes_nothing(signed, technician, now):
    before = LedgerEntry.objects.count()
    done = sign(signed, by=technician, at=now + DAY)
    assert len(done.signed) == 1
    assert not done.refused
    assert FieldWork.objects.get().signed_at == now
    assert LedgerEntry.objects.count() == before


def test_another_content_under_a_signed_work_is_refused_and_entered(signed, technician, now):
    done = sign(signed | {"note": "later thought"}, by=technician, at=now)
    assert done.signed == []
    assert "other entries" in done.refused[0][1]
    assert FieldWork.objects.get().content_sha256 == sha_of(text_of(signed))
    assert LedgerEntry.objects.filter(act="refuse signature").count() == 1


def test_anothers_work_is_neither_signed_nor_touched(signed, second_technician, now):
    done = sign(signed, by=second_technician, at=now)
    assert "somebody else" in done.refused[0][1]
    assert FieldWork.objects.get().person.username == "tquillane"


def test_a_job_out_of_sight_is_not_signed_for(packed, outsider, now):
    done = sign(a_content(packed, at=now), by=outsider, at=now)
    assert "not one at which you may calibrate" in done.refused[0][1]
    assert not FieldWork.objects.exists()


def test_who_calibrates_nowhere_signs_nothing(packed, planner, now):
    with pytest.raises(NotAllowed):
        sign(a_content(packed, at=now), by=planner, at=now)


def test_the_database_keeps_a_signed_work_as_it_was_signed(signed):
    for change in ({"content_sha256": "1" * 64}, {"signed_at": timezone.now()}):
        with pytest.raises(IntegrityError, match="stays as it was signed"), transaction.atomic():
            FieldWork.objects.update(**change)
    with pytest.raises(IntegrityError, match="not what was signed"), transaction.atomic():
        FieldWork.objects.update(content="{}", received_at=timezone.now(), state="settled")
    with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
        FieldWork.objects.all().delete()


# ---- receiving ----
def test_a_sent_work_becomes_a_record_with_times_steps_and_source(packed, technician, now):
    content = a_content(packed, at=now, found=[0.7] * 9, left=[0.05] * 9, adjust_reason="")
    content["steps"][1] |= {"done_at": None, "skipped_why": "no dip hatch"}
    content["steps"][2] |= {
        "answers": [{"label": "loop", "value": "12", "unit": "mA"}],
        "note": "ok",
    }
    sign(content, by=technician, at=now)
    work = receive(content, by=technician, at=now)
    record = Calibration.objects.get()
    assert (work.state, work.record, work.content) == ("stored", record, text_of(content))
    assert (record.source, record.performed_by, record.state) == ("tablet", technician, "submitted")
    assert record.job.state == "submitted"
    assert Reading.objects.filter(record=record, read_at=now).count() == 19
    assert Adjustment.objects.get().adjusted_at == now
    steps = list(StepTaken.objects.filter(record=record))
    assert [s.text for s in steps] == [s.text for s in record.procedure_version.steps.all()]
    assert (steps[0].done_at, steps[0].by_name) == (now, technician.name)
    assert (steps[1].done_at, steps[1].skipped_why) == (None, "no dip hatch")
    assert steps[2].answers == [{"label": "loop", "value": "12", "unit": "mA"}]
    entry = LedgerEntry.objects.get(act="submit record")
    assert (entry.details["from"], entry.details["work"]) == ("tablet", work.pk)


def test_why_it_was_adjusted_within_the_limit_stands_in_the_note(packed, technician, now):
    content = a_content(
        packed,
        at=now,
        found=[0.2] * 9,
        left=[0] * 9,
        note="windy",
        adjust_reason="asked by quality",
    )
    sign(content, by=technician, at=now)
    receive(content, by=technician, at=now)
    note = Calibration.objects.get().note
    assert note == "windy\nAdjusted within the adjust limit, because: asked by quality"


def test_sending_again_gives_the_same_and_enters_nothing(signed, technician, now):
    first = receive(signed, by=technician, at=now)
    before = LedgerEntry.objects.count()
    again, is_new = field.receive(
        uuid.UUID(signed["submission"]), text_of(signed), by=technician, at=now + DAY
    )
    assert (again.record, is_new) == (first.record, False)
    assert (Calibration.objects.count(), LedgerEntry.objects.count()) == (1, before)


def test_what_was_not_signed_is_not_taken_in(packed, technician, second_technician, signed, now):
    with pytest.raises(NotSigned):
        receive(a_content(packed, at=now), by=technician, at=now)
    with pytest.raises(NotSigned):
        receive(signed, by=second_technician, at=now)
    with pytest.raises(NotAsSigned):
        receive(signed | {"note": "later thought"}, by=technician, at=now)
    assert FieldWork.objects.get().content == ""
    assert not Calibration.objects.exists()


def test_it_is_judged_like_a_typed_one(signed, technician, second_technician, now):
    record = receive(signed, by=technician, at=now).record
    other = a_job(an_equipped_point("LT-101B"), by=second_technician)
    typed = records.submit(
        other,
        a_sent_record(found=[0.1] * 9, done_on=now.date(), ambient_c=Decimal("21.5")),
        submission=uuid.uuid4(),
        by=second_technician,
        at=now,
    ).record
    for name in ("found_errors", "found_verdict", "expanded_percent", "tur", "decision_rule"):
        assert getattr(record, name) == getattr(typed, name), name


# ---- where the site has gone on ----
def reassigned(job, planner, other):
    jobs.hand_over(job, to=other, by=planner)


def cancelled(job, planner, other):
    jobs.cancel(job, by=planner, why="tank out of use")


def range_edited(job, planner, other):
    job.point.upper = Decimal("8.4")
    job.point.save()


def swapped(job, planner, other):
    today = timezone.now().date()
    Installation.objects.filter(point=job.point).update(removed_on=today)
    Installation.objects.create(
        site=job.site, point=job.point, transmitter=a_transmitter("NEW-1"), installed_on=today
    )


def taken_down(job, planner, other):
    Installation.objects.filter(point=job.point).update(removed_on=timezone.now().date())


@pytest.mark.parametrize(
    ("change", "troubles"),
    [
        (reassigned, {"technician"}),
        (cancelled, {"job"}),
        (range_edited, {"register"}),
        (swapped, {"transmitter", "register"}),
        (taken_down, {"transmitter", "register"}),
    ],
)
def test_it_is_set_aside_whole_when_the_site_has_gone_on(
    change, troubles, job, signed, technician, second_technician, planner, now
):
    change(job, planner, second_technician)
    work = receive(signed, by=technician, at=now)
    assert (work.state, what(work)) == ("set aside", troubles)
    stored = FieldWork.objects.get()
    assert (stored.content, stored.record) == (text_of(signed), None)
    assert not Calibration.objects.exists()
    entry = LedgerEntry.objects.get(act="set work aside")
    assert all(trouble["said"] in entry.why for trouble in work.troubles)
    assert receive(signed, by=technician, at=now).state == "set aside"
    assert LedgerEntry.objects.filter(act="set work aside").count() == 1


def test_a_job_done_by_another_meanwhile_keeps_both(
    job, signed, technician, second_technician, planner, now
):
    jobs.hand_over(job, to=second_technician, by=planner)
    first = records.submit(
        job,
        a_sent_record(done_on=now.date()),
        submission=uuid.uuid4(),
        by=second_technician,
        at=now,
    ).record
    work = receive(signed, by=technician, at=now)
    assert what(work) == {"job", "technician"}
    assert (list(Calibration.objects.all()), work.content) == ([first], text_of(signed))


def test_a_standard_withdrawn_meanwhile_sets_it_aside(signed, technician, approver, now):
    certificate = Calibration.standards_used.rel.related_model.certificate.field.related_model
    row = certificate.objects.get()
    standards.withdraw_certificate(row, on=now.date(), why="dropped", by=approver)
    work = receive(signed, by=technician, at=now)
    assert (work.state, what(work)) == ("set aside", {"record"})
    assert "MM-01 has no valid certificate" in work.troubles[0]["said"]


def test_a_right_taken_away_after_signing_sets_it_aside(signed, technician, now):
    technician.appointments.update(ends_on=dt.date(2021, 1, 1))
    person = Person.objects.get(pk=technician.pk)
    work = receive(signed, by=person, at=now)
    assert (work.state, what(work)) == ("set aside", {"record"})


NO_LEVEL = {"applied": None, "no_level_reason": "storm"}


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda c: c["steps"][0].update(done_at=None), "caution of step 1"),
        (lambda c: c["steps"].pop(), "was neither done nor left out"),
        (lambda c: c["steps"][1].update(done_at=None), "Step 2 was neither done"),
        (lambda c: c["readings"][0].update(observed="12,3"), "“observed” of reading 1"),
        (lambda c: c["readings"][0].update(observed=None), "reading 1 lacks"),
        (lambda c: c["readings"][0].update(applied="1e9"), "“applied” of reading 1"),
        (lambda c: c["readings"][0].update(applied="1.1234567"), "“applied” of reading 1"),
        (lambda c: c["readings"][0].update(stage="later"), "“stage” of reading 1"),
        (lambda c: c["readings"][0].update(no_level_reason="storm"), "has a level and a reason"),
        (lambda c: c["readings"][0].update(NO_LEVEL, observed=None), "reading 1 lacks what was"),
        (lambda c: c["readings"][1].update(NO_LEVEL), "“stage” of reading 2"),
        (lambda c: c["readings"][0].update(applied=None), "reading 1 lacks its applied value"),
        (lambda c: c["readings"][1].update(sequence=c["readings"][2]["sequence"]), "refuses"),
        (lambda c: c.update(standards=[]), "at least one reference standard"),
        (lambda c: c.update(standards=[999999]), "A standard that was named"),
        (lambda c: c.update(procedure_version=999999), "not published here"),
        (lambda c: c.update(readings=[]), "as it stands"),
        (lambda c: c.update(format=2), "not in a form"),
        (lambda c: c.update(done_on="yesterday"), "“done_on” of the work"),
        (lambda c: c.update(way="by guess"), "“way” of the work"),
    ],
)
def test_what_cannot_become_a_record_is_set_aside_with_the_reason(
    spoil, said, packed, technician, now
):
    content = a_content(packed, at=now)
    spoil(content)
    sign(content, by=technician, at=now)
    work = receive(content, by=technician, at=now)
    assert work.state == "set aside"
    assert said in " ".join(trouble["said"] for trouble in work.troubles)
    assert FieldWork.objects.get().content == text_of(content)
    assert not Calibration.objects.exists()


def test_a_failure_where_no_level_was_known_becomes_a_failed_record(packed, technician, now):
    content = a_content(packed, at=now, no_as_found_reason="it does not start")
    content["readings"] = [content["readings"][0] | NO_LEVEL | {"observed": "3.40"}]
    sign(content, by=technician, at=now)
    work = receive(content, by=technician, at=now)
    assert work.state == "stored"
    record = Calibration.objects.get()
    reading = Reading.objects.get()
    assert (reading.no_level_reason, reading.verdict, reading.read_at) == ("storm", "fail", now)
    assert (record.found_verdict, record.left_verdict) == ("fail", "fail")


def test_computed_values_are_cut_to_the_digits_that_are_kept(packed, technician, now):
    content = a_content(packed, at=now)
    content["readings"][1] |= {"origin": "computed", "observed": "4.0160000001"}
    sign(content, by=technician, at=now)
    receive(content, by=technician, at=now)
    reading = Reading.objects.get(origin="computed")
    assert reading.observed == Decimal("4.016")


# ---- clocks ----
@pytest.mark.parametrize("days", [-30, -2, -1, 1, 2, 30])
def test_a_tablet_days_off_is_stored_on_the_server_s_day(days, packed, technician, now):
    clock = now + days * DAY
    content = a_content(packed, at=clock)
    sign(content, by=technician, at=now, ahead=days * DAY)
    work = receive(content, by=technician, at=now)
    record = Calibration.objects.get()
    assert (record.done_on, work.state, what(work)) == (now.date(), "stored", {"day"})
    assert record.readings.first().read_at == clock  # the claim stays as it was made


def test_a_tablet_hours_off_on_the_same_day_is_stored_without_a_word(packed, technician, now):
    noon = now.replace(hour=12, minute=0)
    packed["made_at"] = (noon - dt.timedelta(hours=1)).isoformat()
    hours = dt.timedelta(hours=3)
    content = a_content(packed, at=noon + hours)
    sign(content, by=technician, at=noon, ahead=hours)
    work = receive(content, by=technician, at=noon)
    assert (work.state, work.troubles) == ("stored", [])
    assert work.skew_seconds == pytest.approx(hours.total_seconds())


def test_a_day_that_cannot_be_told_is_left_to_a_person(packed, technician, now):
    """Clock two days ahead, the pack fetched three days ago: it may have been any of four days."""
    packed["made_at"] = (now - 3 * DAY).isoformat()
    content = a_content(packed, at=now + DAY)
    sign(content, by=technician, at=now, ahead=2 * DAY)
    work = receive(content, by=technician, at=now)
    assert (work.state, what(work)) == ("set aside", {"day"})
    assert "most likely on" in work.troubles[0]["said"]


def test_work_of_two_days_ago_keeps_its_day_where_the_clock_is_right(packed, technician, now):
    packed["made_at"] = (now - 3 * DAY).isoformat()
    content = a_content(packed, at=now - 2 * DAY)
    sign(content, by=technician, at=now)
    receive(content, by=technician, at=now)
    assert Calibration.objects.get().done_on == (now - 2 * DAY).date()


# ---- at once ----
@pytest.mark.django_db(transaction=True)
def test_twenty_repeats_at_once_store_one_record(signed, technician, now):
    got = at_once(*[lambda: receive(signed, by=technician, at=now)] * 20)
    record = Calibration.objects.get()
    assert [work.record_id for work in got] == [record.pk] * 20
    assert LedgerEntry.objects.filter(act="submit record").count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_photo_that_comes_six_times_at_once_is_kept_once(
    packed, technician, now, settings, tmp_path
):
    settings.DATA = tmp_path
    target = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(target, "PNG")
    picture = target.getvalue()
    sha = sha_of(picture)
    content = a_content(packed, at=now, photos=[{"sha256": sha, "step": 1}])
    sign(content, by=technician, at=now)
    work = uuid.UUID(content["submission"])
    got = at_once(*[lambda: field.keep_photo(work, sha, picture, by=technician, at=now)] * 6)
    assert sorted(got) == [False] * 5 + [True]
    assert len(list((tmp_path / "photos").iterdir())) == 2  # the picture and its small one


@pytest.mark.django_db(transaction=True)
def test_signing_at_once_makes_one_signature(packed, technician, now):
    content = a_content(packed, at=now)
    got = at_once(*[lambda: sign(content, by=technician, at=now)] * 8)
    assert [len(done.signed) for done in got] == [1] * 8
    assert FieldWork.objects.count() == 1
    assert LedgerEntry.objects.filter(act="sign work").count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_technicians_on_one_free_job_overwrite_nothing(
    technician, second_technician, planner, now
):
    a_procedure()
    point = an_equipped_point(due_on=now.date())
    job = jobs.plan(point, technician=None, by=planner)
    people, contents = (technician, second_technician), []
    for person, error in zip(people, (0.1, 0.3), strict=True):
        content = a_content(a_pack_job(job, by=person, at=now), at=now, found=[error] * 9)
        sign(content, by=person, at=now)
        contents.append(content)
    at_once(
        *[lambda p=p, c=c: receive(c, by=p, at=now) for p, c in zip(people, contents, strict=True)]
    )
    works = {work.person: work for work in FieldWork.objects.all()}
    assert sorted(work.state for work in works.values()) == ["set aside", "stored"]
    assert Calibration.objects.count() == 1
    for person, content in zip(people, contents, strict=True):
        assert works[person].content == text_of(content)
