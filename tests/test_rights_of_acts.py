"""Every act asks whether the person may do it there: roles at another site are not enough."""

from __future__ import annotations

import datetime as dt
import uuid
from types import SimpleNamespace

import pytest

from calibration.approval import acts as approval
from calibration.deferrals import acts as deferrals
from calibration.findings import acts as findings
from calibration.findings.models import Finding
from calibration.intervals import acts as intervals
from calibration.jobs import acts as jobs
from calibration.policies import acts as policies
from calibration.product_changes import acts as demands
from calibration.records import acts as records
from calibration.rounds import acts as rounds
from calibration.standards import acts as standards
from plant.importing import acts as importing
from plant.people import acts as people
from plant.people.refusals import UnmanagedPerson
from plant.points import acts as points
from plant.product_changes import acts as product_changes
from plant.products import acts as products
from plant.refusals import NotAllowed, Refused
from plant.saving import mark_of
from plant.sites import acts as sites
from plant.tanks import acts as tanks
from plant.transmitters import acts as transmitters
from tests.makers import (
    NOON,
    TODAY,
    a_certificate,
    a_job,
    a_proposal,
    a_round,
    a_sent_record,
    a_standard,
    a_tank,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db

ACTS = {
    "send an import": lambda w: importing.receive(
        [b"tag\n"], file_name="register.csv", kind="register", site=w.site, by=w.by, at=NOON
    ),
    "appoint": lambda w: people.appoint(
        w.technician, role="planner", site=w.site, starts_on=TODAY, by=w.by
    ),
    "end an appointment": lambda w: people.end_appointment(w.appointment, on=TODAY, by=w.by),
    "add a point": lambda w: points.add(w.point, by=w.by),
    "change a point": lambda w: points.change(
        w.point, seen=mark_of(w.point, points.POINT_FIELDS), by=w.by
    ),
    "take a point out of service": lambda w: points.take_out_of_service(
        w.point, on=TODAY, today=TODAY, why="pulled", by=w.by
    ),
    "put a point back": lambda w: points.put_back_in_service(w.point, by=w.by),
    "add a product": lambda w: products.add(w.point.tank.product, by=w.by),
    "change a product": lambda w: products.change(w.point.tank.product, seen="", by=w.by),
    "rename an area": lambda w: sites.rename_area(w.point.tank.area, seen="", by=w.by),
    "add a tank": lambda w: tanks.add_tank(w.point.tank, area_name="Quay park", by=w.by),
    "change a tank": lambda w: tanks.change_tank(
        w.point.tank, area_name="Quay park", seen="", by=w.by
    ),
    "add a transmitter": lambda w: transmitters.add_transmitter(w.transmitter, by=w.by),
    "change a transmitter": lambda w: transmitters.change_transmitter(
        w.transmitter, seen="", by=w.by
    ),
    "start a job": lambda w: jobs.start(w.point, by=w.by),
    "hand over a job": lambda w: jobs.hand_over(w.job, to=w.technician, by=w.by),
    "cancel a job": lambda w: jobs.cancel(w.job, by=w.by, why="not needed"),
    "send a record": lambda w: records.submit(
        w.job, a_sent_record(), submission=uuid.uuid4(), by=w.by, at=NOON
    ),
    "amend a record": lambda w: records.amend(
        w.record, a_sent_record(), reason="slip", submission=uuid.uuid4(), by=w.by, at=NOON
    ),
    "approve": lambda w: approval.approve(
        w.record, content_sha256=w.record.content_sha256, by=w.by, at=NOON
    ),
    "return a record": lambda w: approval.send_back(w.record, reason="blurred", by=w.by, at=NOON),
    "assess a finding": lambda w: findings.assess(w.finding, text="none sold", by=w.by, at=NOON),
    "agree with a finding": lambda w: findings.agree(w.finding, by=w.by, at=NOON),
    "ask for a deferral": lambda w: deferrals.ask(
        w.point, until=TODAY + dt.timedelta(400), reason="shutdown", by=w.by, at=NOON
    ),
    "set an interval": lambda w: intervals.change(
        w.point, months=6, grace_days=0, why="drift", by=w.by
    ),
    "set a duty's policy": lambda w: policies.set_for_duty(
        w.site, "safety", {}, seen="", why="audit", by=w.by
    ),
    "set a point's policy": lambda w: policies.set_for_point(
        w.point, {}, seen="", why="audit", by=w.by
    ),
    "drop a point's policy": lambda w: policies.drop_for_point(w.point, why="audit", by=w.by),
    "plan a round": lambda w: rounds.plan(
        [w.point],
        name="May",
        starts_on=TODAY,
        ends_on=TODAY,
        technician=w.technician,
        by=w.by,
        at=NOON,
    ),
    "add stops": lambda w: rounds.add(w.round, [w.point], by=w.by),
    "move a stop": lambda w: rounds.move(w.stop, up=True, by=w.by),
    "take a stop out": lambda w: rounds.remove(w.stop, by=w.by),
    "change a round": lambda w: rounds.change(
        w.round, name="May", starts_on=TODAY, ends_on=TODAY, technician=w.technician, by=w.by
    ),
    "plan a job": lambda w: jobs.plan(w.stop.point, technician=None, by=w.by),
    "decide on a deferral": lambda w: deferrals.decide(w.deferral, granted=True, by=w.by, at=NOON),
    "apply an import": lambda w: importing.ask_to_apply(w.batch, why="list", by=w.by),
    "withdraw an import": lambda w: importing.withdraw(w.batch, by=w.by),
    "change a product in a tank": lambda w: product_changes.change_product(
        w.point.tank, product=None, celsius=None, on=TODAY, why="sold", by=w.by, at=NOON
    ),
    "ask for what a change needs": lambda w: demands.raise_for(w.change, by=w.by, at=NOON),
    "change what is planned at a site": lambda w: sites.change_site(
        w.site, fields=["crew_hours"], seen="", by=w.by
    ),
    "change what is administered at a site": lambda w: sites.change_site(
        w.site, fields=["name"], seen="", by=w.by
    ),
    "install a transmitter": lambda w: transmitters.install(
        w.stop.point, transmitter=w.transmitter, on=TODAY, today=TODAY, by=w.by
    ),
    "accept an interval": lambda w: intervals.accept(w.proposal, by=w.by, at=NOON),
    "decline an interval": lambda w: intervals.decline(w.proposal, why="no", by=w.by, at=NOON),
    "add a standard": lambda w: standards.add(w.standard, by=w.by),
    "change a standard": lambda w: standards.change(w.standard, by=w.by),
    "add a certificate": lambda w: standards.add_certificate(w.certificate, by=w.by),
    "withdraw a certificate": lambda w: standards.withdraw_certificate(
        w.certificate, on=TODAY, why="dropped", by=w.by
    ),
    "withdraw a standard": lambda w: standards.withdraw(
        w.standard, on=TODAY, why="dropped", by=w.by
    ),
}


@pytest.fixture
def world(site, outsider, planner, technician, approver, uploads) -> SimpleNamespace:
    """One row of each kind at Marram Point, and a person with every role at another site."""
    point = an_equipped_point()
    record = an_approved_record(
        point, by=technician, approved_by=approver, found=[-1.5] + [0.1] * 8, left=[0.1] * 9
    )
    standard = a_standard("MM-77")
    other = an_equipped_point("LT-2")
    made = a_round([other], technician=technician, by=planner)
    batch = importing.receive(
        [b"tag\n"], file_name="a.csv", kind="register", site=site, by=planner, at=NOON
    )
    return SimpleNamespace(
        site=site,
        by=outsider,
        point=point,
        technician=technician,
        appointment=technician.appointments.get(),
        transmitter=a_transmitter(),
        record=record,
        finding=Finding.objects.get(),
        job=a_job(point, by=technician),
        standard=standard,
        certificate=a_certificate(standard),
        round=made,
        stop=made.stops.get(),
        batch=batch,
        proposal=a_proposal(other),
        deferral=deferrals.ask(
            other, until=TODAY + dt.timedelta(40), reason="shutdown", by=planner, at=NOON
        ),
        change=product_changes.change_product(
            a_tank("T-9"), product=None, celsius=None, on=TODAY, why="sold", by=planner, at=NOON
        ),
    )


@pytest.mark.parametrize("act", ACTS.values(), ids=ACTS)
def test_an_act_refuses_who_holds_no_role_at_the_site(act, world):
    with pytest.raises(NotAllowed):
        act(world)


def test_an_account_is_managed_by_an_administrator_of_its_site(world):
    with pytest.raises(UnmanagedPerson):
        people.set_password(world.technician, password="a long new one", on=TODAY, by=world.by)
    with pytest.raises(UnmanagedPerson):
        people.close(world.technician, why="left", on=TODAY, by=world.by)


def test_a_job_is_handed_over_to_who_may_calibrate(world, planner, auditor):
    with pytest.raises(Refused, match="no technician at this site"):
        jobs.hand_over(world.job, to=auditor, by=planner)
