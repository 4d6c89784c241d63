"""Recalibrations that a changed product asks for."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from calibration import tasks
from calibration.importing import kinds as imports
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.product_changes import acts as demands
from calibration.reminders.models import Heartbeat
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.product_changes import acts as product_changes
from plant.product_changes.models import ProductChange
from plant.refusals import NotAllowed
from plant.tanks.models import Tank
from tests.files import applied, send
from tests.makers import (
    NOON,
    TODAY,
    a_point,
    a_procedure,
    a_product,
    a_record,
    a_tank,
    a_transmitter,
    an_approved_record,
    an_installation,
    soybean_oil,
)
from tests.races import outcomes

ROD = {"probe_length_mm": 8100, "probe_diameter_mm": 12}
DAY = dt.timedelta(1)
NOTE = (
    "Palm olein out, soybean oil in: reads about 4.9 % of span high when full (+0.780\u00a0mA, "
    "+390\u00a0mm), computed from permittivity 3.050 then and 3.150 now; check before it is relied "
    "on."
)


@pytest.fixture
def tank(site) -> Tank:
    return a_tank(product_c=Decimal(40))


def hung(tag: str, principle: str = "capacitance rod", **device) -> MeasuringPoint:
    point = a_point(tag)
    if principle.startswith("capacitance"):
        device = ROD | device
    an_installation(point, a_transmitter(principle=principle, **device))
    return point


def changed(by, **other) -> tuple[ProductChange, list[Job]]:
    facts = {"celsius": Decimal(25), "on": TODAY, "why": "A ship of soybean oil.", "at": NOON}
    facts = {"product": soybean_oil()} | facts | other
    return demands.change_product(Tank.objects.get(), by=by, **facts)


def effects_shown() -> dict:
    return LedgerEntry.objects.filter(act="ask recalibration").first().details


def test_a_job_is_raised_with_its_computed_shift_and_a_note_in_words(planner, tank):
    hung("LT-101B")
    change, raised = changed(planner)
    job = Job.objects.get()
    assert raised == [job]
    assert (job.why, job.state, job.due_on) == ("product change", "planned", TODAY)
    assert job.product_change == change
    assert job.shift_percent == pytest.approx(4.8780, abs=5e-5)
    assert job.note == NOTE
    change.refresh_from_db()
    assert change.demanded_at == NOON
    entry = LedgerEntry.objects.get(act="ask recalibration")
    assert (entry.person, entry.site) == (planner, tank.site)
    assert entry.details == {"jobs": 1, "LT-101B": f"job {job.pk}: +4.88 % of span when full"}


def test_only_what_follows_the_product_is_asked_for_and_the_ledger_says_why_not(planner, tank):
    for tag, principle in (("A", "radar"), ("C", "hydrostatic"), ("D", "float")):
        hung(f"LT-101{tag}", principle)
    a_point("LT-101E")  # nothing hangs there
    changed(planner)
    assert [job.point.tag for job in Job.objects.all()] == ["LT-101C"]
    assert "density 900.0 kg/m³ then and 917.0" in Job.objects.get().note.replace("\u00a0", " ")
    assert effects_shown()["LT-101A"] == "radar: times an echo from the surface"
    assert "whose draft moves" in effects_shown()["LT-101D"]
    assert "LT-101E" not in effects_shown()


def test_a_point_out_of_service_is_left_alone(planner, tank):
    hung("LT-101B")
    MeasuringPoint.objects.update(out_of_service_on=TODAY, out_of_service_why="opened")
    assert changed(planner)[1] == []


def test_a_shift_under_a_tenth_of_the_tolerance_asks_for_nothing_but_is_told(planner, tank):
    hung("LT-101B")
    almost = a_product(name="sunflower oil", permittivity=Decimal("3.052"), permittivity_c=40)
    changed(planner, product=almost, celsius=Decimal(40))
    assert not Job.objects.exists()
    assert effects_shown() == {
        "jobs": 0,
        "LT-101B": "+0.10 % of span when full, under a tenth of its tolerance: nothing asked",
    }


def test_missing_data_raise_the_job_and_are_named(planner, tank):
    hung("LT-101B", probe_diameter_mm=None)
    changed(planner)
    job = Job.objects.get()
    assert job.shift_percent is None
    assert "cannot be computed, the register lacks the diameter of rod or rope" in job.note


def test_an_open_job_takes_the_note_instead_of_a_second_one(planner, technician, tank):
    point = hung("LT-101B")
    jobs.plan(point, technician=technician, note="Take the long ladder.", by=planner)
    changed(planner)
    job = Job.objects.get()
    assert job.note == f"Take the long ladder.\n{NOTE}"
    assert (job.why, job.technician, job.shift_percent > 4) == ("product change", technician, True)


def test_a_job_in_hand_keeps_its_cause(planner, technician, tank):
    jobs.start(hung("LT-101B"), by=technician)
    changed(planner)
    assert (Job.objects.get().why, Job.objects.get().note) == ("interval", NOTE)


def test_looking_twice_raises_nothing_more(planner, tank):
    hung("LT-101B")
    change, _ = changed(planner)
    assert demands.raise_for(change, by=planner, at=NOON) == []
    assert demands.raise_waiting(at=NOON) == 0
    assert LedgerEntry.objects.filter(act="ask recalibration").count() == 1


def test_a_change_told_late_asks_for_nothing_where_it_was_calibrated_since(
    planner, technician, approver, tank
):
    point = hung("LT-101B")
    an_approved_record(point, by=technician, approved_by=approver, done_on=TODAY)
    assert changed(planner, on=TODAY - DAY)[1] == []
    assert effects_shown()["LT-101B"] == "calibrated since, on 2026-11-02"


def test_a_calibration_by_simulated_output_tells_nothing_of_the_product(
    planner, technician, approver, tank
):
    point = hung("LT-101B")
    a_procedure("cap-output", way="simulated output")
    version = a_procedure("cap-output")
    an_approved_record(
        point,
        by=technician,
        approved_by=approver,
        way="simulated output",
        procedure_version=version,
    )
    assert len(changed(planner, on=TODAY - DAY)[1]) == 1


def test_a_record_that_waits_is_awaited_and_the_demand_comes_with_its_approval(
    planner, technician, approver, tank
):
    from calibration.approval import acts as approval_acts

    point = hung("LT-101B")
    record = a_record(point, by=technician, done_on=TODAY)
    change, raised = changed(planner)
    change.refresh_from_db()
    assert (raised, change.demanded_at) == ([], None)
    assert demands.raise_waiting(at=NOON) == 0
    approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=NOON)
    assert demands.raise_waiting(at=NOON) == 1
    assert Job.objects.get(state="planned").note == NOTE
    assert LedgerEntry.objects.get(act="ask recalibration").person is None


def test_a_cancelled_demand_is_not_raised_again_while_another_waits(
    planner, technician, approver, tank
):
    a_record(hung("LT-101C"), by=technician)
    hung("LT-101B")
    _, [job] = changed(planner)
    jobs.cancel(job, why="Dipped by hand until the stop.", by=approver)
    assert demands.raise_waiting(at=NOON) == 0
    assert Job.objects.filter(state="planned").count() == 0


def test_several_changes_count_from_what_the_point_was_calibrated_on(
    planner, technician, approver, tank
):
    an_approved_record(
        hung("LT-101B"), by=technician, approved_by=approver, done_on=TODAY - 5 * DAY
    )
    changed(planner, on=TODAY - 3 * DAY)
    olein = a_product()
    changed(planner, product=olein, celsius=Decimal(40), on=TODAY - DAY)  # back again
    assert effects_shown()["LT-101B"].startswith("0.00 % of span when full, under a tenth")
    changed(planner, product=soybean_oil(), celsius=Decimal(25), on=TODAY)
    assert "+4.88 %" in effects_shown()["LT-101B"]


def test_a_transmitter_without_a_record_counts_from_what_stood_there_when_it_was_hung(
    planner, tank
):
    hung("LT-101B")
    changed(planner)
    changed(planner, product=a_product(), celsius=Decimal(40))  # back again, with nobody there
    assert effects_shown()["LT-101B"].startswith("0.00 % of span when full, under a tenth")
    job = Job.objects.get()  # what was asked for stays asked; it is the planner's to cancel
    assert job.shift_percent == pytest.approx(0.0)
    assert job.note.endswith(
        "reads within a tenth of the tolerance of what it was calibrated on again."
    )


def test_a_change_by_import_is_dated_today_and_looked_into(planner, tank):
    hung("LT-101B")
    soybean_oil()
    applied(
        "area,tank,shape,product,product temperature (°C)\n"
        "Quay park,T-101,vertical,soybean oil,25\n",
        by=planner,
        kind="tanks",
        why="The terminal's list of the day.",
    )
    change = ProductChange.objects.get()
    assert (change.on, change.product_before.name, change.celsius_before) == (
        TODAY,
        "palm olein",
        40,
    )
    assert change.demanded_at is not None
    assert Job.objects.get().note == NOTE
    assert LedgerEntry.objects.get(act="ask recalibration").person is None


def test_an_import_says_beforehand_that_a_product_changes(planner, tank):
    soybean_oil()
    batch = send(
        "area,tank,shape,product,product temperature (°C)\n"
        "Quay park,T-101,vertical,soybean oil,25\n",
        by=planner,
        kind="tanks",
    )
    [(row, column, value, reason)] = batch.report["warnings"]
    assert (row, column, value) == (2, "product", "soybean oil")
    assert "recalibration is asked wherever a reading follows it" in reason


def test_an_import_that_fills_a_gap_is_no_change(planner):
    a_tank(product=None)
    hung("LT-101B")
    a_product()
    applied(
        "area,tank,shape,product,product temperature (°C)\n"
        "Quay park,T-101,vertical,palm olein,40\n",
        by=planner,
        kind="tanks",
        why="First list of products.",
    )
    assert Tank.objects.get().product.name == "palm olein"
    assert not ProductChange.objects.exists()


def test_the_task_looks_into_what_a_file_left_over(planner, tank, monkeypatch):
    hung("LT-101B")
    soybean_oil()
    monkeypatch.setattr(imports, "AT_ONCE", 0)
    applied(
        "area,tank,shape,product,product temperature (°C)\n"
        "Quay park,T-101,vertical,soybean oil,25\n",
        by=planner,
        kind="tanks",
        why="The terminal's list of the day.",
    )
    assert ProductChange.objects.get().demanded_at is None
    tasks.look_into_product_changes()
    assert Job.objects.get().note == NOTE
    assert Heartbeat.objects.filter(task="look_into_product_changes").exists()


def test_one_change_that_fails_holds_up_no_other(planner, tank, monkeypatch):
    hung("LT-101B")
    facts = {
        "product": soybean_oil(),
        "celsius": Decimal(25),
        "on": TODAY,
        "why": "x",
        "by": planner,
        "at": NOON,
    }
    other = product_changes.change_product(a_tank("T-9"), **facts)
    product_changes.change_product(tank, **facts)
    looked = demands.effects_of

    def broken(tank, **more):
        if tank.pk == other.tank_id:
            raise RuntimeError("cannot")
        return looked(tank, **more)

    monkeypatch.setattr(demands, "effects_of", broken)
    assert demands.raise_waiting(at=NOON) == 1
    assert ProductChange.objects.filter(demanded_at=None).get() == other


def test_a_change_that_another_followed_is_settled_by_it(planner, tank):
    hung("LT-101B")
    facts = {"on": TODAY, "why": "x", "by": planner, "at": NOON}
    first = product_changes.change_product(
        tank, product=soybean_oil(), celsius=Decimal(25), **facts
    )
    second = product_changes.change_product(
        Tank.objects.get(), product=soybean_oil(), celsius=Decimal(45), **facts
    )
    assert demands.raise_waiting(at=NOON) == 1
    assert Job.objects.get().product_change == second
    settled = LedgerEntry.objects.filter(act="ask recalibration").last()
    assert (settled.subject_id, settled.details) == (
        first.pk,
        {"jobs": 0, "settled by": str(second)},
    )


def test_only_a_planner_asks(technician, planner, tank):
    hung("LT-101B")
    with pytest.raises(NotAllowed):
        changed(technician)
    assert not ProductChange.objects.exists()


def test_what_is_told_and_what_is_asked_stand_or_fall_together(planner, tank, monkeypatch):
    hung("LT-101B")

    def broken(*_, **__):
        raise RuntimeError

    monkeypatch.setattr(demands, "raise_for", broken)
    with pytest.raises(RuntimeError):
        changed(planner)
    assert Tank.objects.get().product.name == "palm olein"
    assert not ProductChange.objects.exists()


# ---- two at once ----
@pytest.mark.django_db(transaction=True)
def test_of_two_planners_at_once_one_is_told_and_each_point_is_asked_once(planner, tank):
    hung("LT-101B")
    seen = Tank.objects.get()
    facts = {"on": TODAY, "why": "A ship.", "by": planner, "at": NOON}
    oils = [soybean_oil(), a_product(name="sunflower oil", permittivity=Decimal("3.13"))]
    outcome = outcomes(
        *[
            lambda oil=oil: demands.change_product(seen, product=oil, celsius=Decimal(25), **facts)
            for oil in oils
        ]
    )
    assert outcome[1] == "done"
    assert outcome[0].startswith("Somebody else has changed what T-101 holds")
    assert (ProductChange.objects.count(), Job.objects.count()) == (1, 1)


@pytest.mark.django_db(transaction=True)
def test_two_looks_at_once_and_a_technician_who_starts_make_one_job(planner, technician, tank):
    point = hung("LT-101B")
    change = product_changes.change_product(
        tank,
        product=soybean_oil(),
        celsius=Decimal(25),
        on=TODAY,
        why="A ship.",
        by=planner,
        at=NOON,
    )
    outcome = outcomes(
        lambda: demands.raise_for(change, by=planner, at=NOON),
        lambda: demands.raise_waiting(at=NOON),
        lambda: jobs.start(point, by=technician),
    )
    assert outcome == ["done"] * 3
    job = Job.objects.get()
    assert (job.note.count("soybean oil in"), job.technician) == (1, technician)
