"""The pack: which jobs, what it tells of them, its mark of the register, kit, key, size and number
of queries.
"""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration.approval import acts as approval_acts
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.procedures.models import SiteWording
from calibration.records.budgets import uncertainty_of
from calibration.records.entry import ReadingEntry
from calibration.records.setup import Setup
from calibration.rounds import acts as rounds
from calibration.tablet import acts
from calibration.tablet.models import FieldKey
from calibration.tablet.packs import pack, register_columns, register_sha
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed
from tests.makers import (
    a_certificate,
    a_certified_standard,
    a_job,
    a_procedure,
    a_record,
    a_standard,
    an_approved_record,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def procedure(db):
    return a_procedure()


def planned(tag: str, planner, *, technician=None, days: int | None = 0, now, due: int = 0) -> Job:
    point = an_equipped_point(tag, due_on=now.date() + dt.timedelta(days=due))
    on = None if days is None else now.date() + dt.timedelta(days=days)
    return jobs.plan(point, technician=technician, planned_on=on, by=planner)


def tags(made) -> list[str]:
    return [job["register"]["tag"] for job in made["jobs"]]


def test_mine_come_first_then_the_free_ones_of_these_days(
    technician, second_technician, planner, now
):
    planned("LT-1", planner, days=3, now=now)
    planned("LT-2", planner, days=9, now=now)
    planned("LT-3", planner, days=None, due=5, now=now)
    planned("LT-4", planner, days=None, due=40, now=now)
    planned("LT-5", planner, technician=second_technician, now=now)
    planned("LT-6", planner, technician=technician, days=60, now=now)
    a_record(an_equipped_point("LT-7"), by=technician)  # submitted: nothing to do
    made = pack(by=technician, at=now)
    assert tags(made) == ["LT-6", "LT-1", "LT-3"]
    assert [job["mine"] for job in made["jobs"]] == [True, False, False]


def test_free_stops_of_my_round_come_along(technician, planner, now):
    day = now.date() + dt.timedelta(days=30)
    rounds.plan(
        [an_equipped_point("LT-9")],
        name="Quay round",
        starts_on=day,
        ends_on=day,
        technician=technician,
        by=planner,
        at=now,
    )
    Job.objects.update(technician=None)
    made = pack(by=technician, at=now)
    assert (tags(made), made["jobs"][0]["round"]) == (["LT-9"], "Quay round")


def test_a_returned_job_brings_its_reason_and_the_last_record(technician, approver, now):
    point = an_equipped_point()
    last = an_approved_record(point, by=technician, approved_by=approver)
    record = a_record(point, by=technician)
    approval_acts.send_back(record, reason="third point missing", by=approver, at=now)
    packed = pack(by=technician, at=now)["jobs"][0]
    assert (packed["state"], packed["return_reason"]) == ("returned", "third point missing")
    assert (packed["last"]["id"], packed["last"]["found_verdict"]) == (last.pk, "pass")


def test_a_job_tells_its_register_and_a_mark_that_moves_with_it(technician, now):
    job = a_job(an_equipped_point(upper=Decimal("8.30")), by=technician)
    packed = pack(by=technician, at=now)["jobs"][0]
    assert packed["register"]["upper"] == "8.3"
    assert packed["register"]["tolerance_percent"] == 1.0
    assert packed["transmitter"]["serial"] == packed["register"]["serial"]
    assert packed["register_sha"] == register_sha(packed["register"])
    again = json.loads(json.dumps(packed["register"]))
    assert register_sha(again) == packed["register_sha"]
    point = job.point
    for field, value in (
        ("upper", Decimal("8.31")),
        ("tolerance", Decimal("0.9")),
        ("tag", "LT-X"),
    ):
        before = getattr(point, field)
        setattr(point, field, value)
        point.save()
        assert pack(by=technician, at=now)["jobs"][0]["register_sha"] != packed["register_sha"], (
            field
        )
        setattr(point, field, before)
        point.save()
    hung = point.installations.get().transmitter
    assert register_sha(register_columns(point, hung)) == packed["register_sha"]


def test_procedures_bring_their_steps_and_the_site_s_own_wording(technician, procedure, now):
    step = procedure.steps.first()
    a_job(by=technician)
    if step.key:
        SiteWording.objects.create(
            site=technician.appointments.get().site,
            procedure=procedure.procedure,
            step_key=step.key,
            devices="R4",
            text="Hold the left key for 3 s; the lamp blinks.",
        )
    made = pack(by=technician, at=now)
    packed = made["procedures"][str(procedure.pk)]
    assert made["jobs"][0]["procedures"] == [procedure.pk]
    assert packed["percents"] == ["0", "25", "50", "75", "100"]
    assert [s["text"] for s in packed["steps"]] == [s.text for s in procedure.steps.all()]
    assert packed["steps"][0]["asks"] == []
    if step.key:
        assert packed["steps"][0]["wordings"][0]["devices"] == "R4"


def test_the_kit_says_what_serves_and_how_good_the_test_is(technician, now):
    meter = a_standard("MM-01", holder=technician)
    a_certificate(
        meter,
        unit="mA",
        range_low=0,
        range_high=30,
        percent_of_reading=Decimal("0.05"),
        valid_until=now.date() + dt.timedelta(days=30),
    )
    small = a_standard("MM-02")
    a_certificate(small, unit="mA", range_low=0, range_high=10)
    poor = a_standard("MM-03")
    a_certificate(poor, unit="mA", range_low=0, range_high=30, percent_of_reading=Decimal(1))
    weights, tape = a_standard("WT-01", kind="weights"), a_standard("DT-01", kind="dip tape")
    a_certificate(weights)
    a_certificate(tape, unit="m", range_low=0, range_high=5)
    a_standard("MM-09")  # never certified
    gone = a_certified_standard("MM-10")
    gone.withdrawn_on, gone.withdrawn_why = now.date(), "dropped"
    gone.save()
    a_job(by=technician)
    made = pack(by=technician, at=now)
    kit = made["jobs"][0]["kit"]
    assert kit[str(meter.pk)]["fits"]
    assert kit[str(meter.pk)]["tur"] > kit[str(poor.pk)]["tur"] > 0
    assert "certified for 0 to 10 mA" in kit[str(small.pk)]["why"]
    assert "not used for" in kit[str(weights.pk)]["why"]
    assert "certified for 0 to 5 m" in kit[str(tape.pk)]["why"]
    packed = {one["name"]: one for one in made["standards"]}
    assert set(packed) == {"MM-01", "MM-02", "MM-03", "WT-01", "DT-01"}
    assert (packed["MM-01"]["mine"], packed["MM-02"]["mine"]) == (True, False)
    assert packed["MM-01"]["certificates"][0]["high"] == "30"


def test_the_kit_is_told_for_each_way_that_may_be_chosen(technician, now):
    box = a_standard("CB-01", kind="capacitance decade box")
    a_certificate(box, unit="pF")
    tank = a_procedure("cap-tank", "wetted level by dip")
    bench = a_procedure("cap-bench", "capacitance substituted")
    a_job(an_equipped_point(procedure_key=tank.procedure.key), by=technician)
    job = pack(by=technician, at=now)["jobs"][0]
    assert {tank.pk, bench.pk} <= set(job["procedures"])
    assert not job["kit"][str(box.pk)]["fits"]
    assert job["kits_of_other_ways"]["capacitance substituted"][str(box.pk)]["fits"]


def test_a_standard_that_only_a_step_asks_for_is_named_by_its_procedure(technician, now):
    tester = a_standard("BT-01", kind="bond or insulation tester")
    a_certificate(tester)
    ask = {"name": "bond", "label": "Bond", "kind": "number", "unit": "MΩ", "needed": True}
    bonded = a_procedure("cap-bonded", asks=[ask])
    a_job(an_equipped_point(), by=technician)
    job = pack(by=technician, at=now)["jobs"][0]
    assert job["procedures"][0] != bonded.pk
    assert bonded.pk in job["procedures"]
    assert not job["kit"][str(tester.pk)]["fits"]
    assert job["check_tools"] == {str(bonded.pk): [tester.pk]}


@pytest.mark.parametrize(
    ("kind", "unit", "way"),
    [
        ("multimeter", "mA", "wetted level by dip"),
        ("multimeter", "V", "simulated output"),
        ("dip tape", "mm", "wetted level by dip"),
        ("pressure calibrator", "kPa", "pressure applied"),
        ("capacitance decade box", "pF", "capacitance substituted"),
    ],
)
def test_the_kit_s_ratio_is_that_of_the_whole_budget(technician, kind, unit, way, now):
    """The short way, part by part, against the budget that a record keeps."""
    standard = a_standard("S-01", kind=kind)
    row = a_certificate(
        standard, unit=unit, percent_of_reading=Decimal("0.05"), absolute=Decimal("0.002")
    )
    version = a_procedure(f"by-{kind}".replace(" ", "-"), way)
    job = a_job(an_equipped_point(procedure_key=version.procedure.key), by=technician)
    packed = pack(by=technician, at=now)["jobs"][0]["kit"][str(standard.pk)]
    middle = ReadingEntry("as found", 1, Decimal("4.3"), Decimal(12))
    hung = job.point.installations.get().transmitter
    setup = Setup(job.point, hung, way, [(standard, row)])
    uncertainty = uncertainty_of(setup, [middle])
    expected = job.point.limits.percent / float(uncertainty.expanded[0])
    assert packed["fits"], packed
    assert packed["tur"] == pytest.approx(expected, abs=0.006)


def test_the_key_is_made_once_and_stands_nowhere_else(technician, second_technician, now):
    keys = {acts.sealing_key(technician, at=now) for _ in range(3)}
    assert len(keys) == 1
    assert acts.sealing_key(second_technician, at=now) not in keys
    raw = bytes(FieldKey.objects.get(person=technician).key)
    assert len(raw) == 32
    assert not LedgerEntry.objects.filter(act__contains="key").exists()
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM plant_rowhistory WHERE table_name LIKE '%fieldkey%'")
        assert cursor.fetchone() == (0,)


def test_who_calibrates_nowhere_gets_no_pack(planner, auditor, sign_in, now):
    for person in (planner, auditor):
        with pytest.raises(NotAllowed):
            pack(by=person, at=now)
        assert sign_in(person).get("/field/pack/").status_code == 403
    assert not FieldKey.objects.exists()


def test_thirty_jobs_fit_a_megabyte_and_cost_no_more_queries_than_one(technician, approver, now):
    for n in range(20):
        standard = a_standard(f"MM-{n:02}")
        a_certificate(standard, unit="mA", range_low=0, range_high=30)
    for n in range(30):
        point = an_equipped_point(f"LT-{n:03}")
        an_approved_record(point, by=technician, approved_by=approver)
        a_job(point, by=technician)
    technician.__dict__.pop("_today_as", None)
    with CaptureQueriesContext(connection) as asked:
        made = pack(by=technician, at=now)
        acts.sealing_key(technician, at=now)
    assert len(made["jobs"]) == 30
    assert len(json.dumps(made)) < 1_000_000
    kept = [q["sql"] for q in asked if "SAVEPOINT" not in q["sql"]]
    assert len(kept) <= 10  # session and person are the other two of twelve
