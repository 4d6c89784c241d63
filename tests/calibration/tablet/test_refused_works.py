"""Works that no record can be made of: each is set aside once, with the reason, and settled alone."""

from __future__ import annotations

import uuid

import pytest

from calibration.jobs import acts as jobs
from calibration.procedures.models import ProcedureStep, ProcedureVersion
from calibration.records.models import Calibration
from calibration.tablet import acts as field
from calibration.tablet.models import FieldWork
from calibration.tablet.set_aside_acts import settle
from plant.ledger.models import LedgerEntry
from tests.calibration.tablet.field_acts import receive, sign
from tests.calibration.tablet.field_works import a_content, a_pack_job, text_of
from tests.makers import a_job, a_procedure, an_equipped_point
from tests.races import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def packed(job, technician, now):
    return a_pack_job(job, by=technician, at=now)


def set_aside(packed, *, by, at, **more) -> FieldWork:
    content = a_content(packed, at=at, standards=[], **more)
    sign(content, by=by, at=at)
    return receive(content, by=by, at=at)


def test_a_version_that_was_never_published_makes_no_record(packed, technician, now):
    published = a_procedure()
    draft = ProcedureVersion.objects.get(pk=published.pk)
    draft.pk, draft.number, draft.published_on = None, 2, None
    draft.save()
    for step in published.steps.all():
        ProcedureStep.objects.create(
            version=draft,
            number=step.number,
            kind=step.kind,
            text=step.text,
            key=step.key,
            stage=step.stage,
            asks=[],
        )
    content = a_content(packed, at=now, procedure_version=draft.pk)
    sign(content, by=technician, at=now)
    work = receive(content, by=technician, at=now)
    assert work.state == "set aside"
    assert "not published here" in work.troubles[0]["said"]
    assert not Calibration.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_repeats_at_once_one_is_new_and_the_work_is_set_aside_once(packed, technician, now):
    for _ in range(3):
        content = a_content(packed, at=now, standards=[])
        sign(content, by=technician, at=now)
        submission, text = uuid.UUID(content["submission"]), text_of(content)
        got = at_once(
            *[lambda s=submission, t=text: field.receive(s, t, by=technician, at=now)] * 2
        )
        assert sorted(is_new for _, is_new in got) == [False, True]
        assert {work.state for work, _ in got} == {"set aside"}
        work = FieldWork.objects.get(submission=submission)
        assert LedgerEntry.objects.filter(act="set work aside", subject_id=work.pk).count() == 1


def test_one_of_several_works_is_settled_and_the_others_wait(packed, technician, planner, now):
    first = set_aside(packed, by=technician, at=now)
    other_job = a_job(an_equipped_point("LT-102A"), by=technician)
    other = set_aside(a_pack_job(other_job, by=technician, at=now), by=technician, at=now)
    done = settle(first, as_record=False, why="done again", by=planner, at=now)
    assert (done.pk, done.state) == (first.pk, "settled")
    other.refresh_from_db()
    assert other.state == "set aside"


# ---- settled: which job the record goes to ----
@pytest.fixture
def aside(job, packed, technician, planner, now) -> FieldWork:
    """Its job was cancelled while the tablet was away."""
    content = a_content(packed, at=now)
    sign(content, by=technician, at=now)
    jobs.cancel(job, why="not needed", by=planner)
    return receive(content, by=technician, at=now)


def test_the_record_of_a_closed_job_goes_to_the_open_job_of_its_point(aside, job, planner, now):
    waiting = jobs.plan(job.point, technician=None, note="again", by=planner)
    jobs.plan(an_equipped_point("LT-9"), technician=None, by=planner)
    done = settle(aside, as_record=True, why="it was done", by=planner, at=now)
    assert done.record.job_id == waiting.pk
    waiting.refresh_from_db()
    assert (waiting.state, waiting.technician) == ("submitted", aside.person)


def test_without_an_open_job_the_record_gets_one_of_its_own(aside, job, planner, now):
    jobs.plan(an_equipped_point("LT-9"), technician=None, by=planner)
    made = settle(aside, as_record=True, why="it was done", by=planner, at=now).record.job
    assert made.pk != job.pk
    assert (made.point, made.site, made.due_on) == (job.point, job.site, job.point.due_on)
    assert (made.why, made.state, made.technician) == ("request", "submitted", aside.person)


def test_settling_enters_the_work_its_signer_and_both_jobs(aside, job, planner, now):
    done = settle(aside, as_record=True, why=" it was done ", by=planner, at=now)
    assert (done.settled_by, done.settled_at, done.settled_why) == (planner, now, "it was done")
    details = LedgerEntry.objects.get(act="settle work").details
    assert details == {
        "work": aside.pk,
        "signed by": "T. Quillane",
        "job": job.pk,
        "record": done.record_id,
        "its job": done.record.job_id,
        "tag": "LT-101A",
        "done on": now.date().isoformat(),
        "as found": "pass",
        "as left": "pass",
        "adjusted": False,
    }
    assert done.record.submitted_at == now
