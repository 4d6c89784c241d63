"""Every act beside every state a point may be in: the status says what the rows say, and no point
is left to the calendar while something known speaks against it.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone

from calibration.deferrals import acts as deferrals
from calibration.drift.models import Trend
from calibration.intervals import acts as intervals
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.policies import acts as policies
from calibration.policies.models import Policy
from calibration.product_changes import acts as product_changes
from calibration.records.models import Calibration
from calibration.standards import acts as standards
from calibration.status import acts as statuses
from plant.ledger.models import LedgerEntry
from plant.points import acts as points
from plant.points.models import MeasuringPoint
from plant.points.status import BY_CALENDAR
from plant.refusals import Refused
from plant.saving import mark_of
from plant.transmitters import acts as installing
from plant.transmitters.models import Installation
from tests.calibration.status.derived import known_of
from tests.makers import (
    NOON,
    TODAY,
    a_certified_standard,
    a_point,
    a_procedure,
    a_reading,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
    soybean_oil,
)

ROD = {"probe_length_mm": 8100, "probe_diameter_mm": 12}
MONTH_AGO = TODAY - dt.timedelta(30)


@pytest.fixture
def cast(planner, technician, approver):
    return {"planner": planner, "technician": technician, "approver": approver}


def recorded(point: MeasuringPoint, cast, **sent) -> Calibration:
    people = {"by": cast["technician"], "approved_by": cast["approver"]}
    return an_approved_record(point, **people, **sent)


# ---- how a point may stand before ----
def never(cast):
    return an_equipped_point()


def empty(cast):
    return a_point()


def in_date(cast):
    point = a_point()
    device = a_transmitter(**ROD)
    Installation.objects.create(
        site=point.site, point=point, transmitter=device, installed_on=dt.date(2020, 1, 1)
    )
    recorded(point, cast, done_on=MONTH_AGO)
    return point


def output_only(cast):
    point = an_equipped_point()
    recorded(point, cast, done_on=MONTH_AGO, **OUTPUT())
    return point


def failed(cast):
    point = in_date(cast)
    recorded(point, cast, done_on=TODAY - dt.timedelta(9), found=[1.5] * 9)
    return point


def dead(cast):
    point = in_date(cast)
    recorded(point, cast, done_on=TODAY - dt.timedelta(9), **DEAD)
    return point


def demanded(cast):
    point = in_date(cast)
    plan(point, cast)
    return point


def unlikely(cast):
    point = in_date(cast)
    Trend.objects.filter(point=point).update(doubt_on=TODAY)
    return point


def withdrawn(cast):
    point = in_date(cast)
    withdraw(point, cast)
    return point


def overdue(cast):
    point = in_date(cast)
    MeasuringPoint.objects.filter(pk=point.pk).update(due_on=TODAY - dt.timedelta(5))
    return point


BEFORE = [
    never, empty, in_date, output_only, failed, dead, demanded, unlikely, withdrawn, overdue,
]  # fmt: skip


# ---- what is done then ----
DEAD = {
    "readings": [a_reading("4.3", "3.5", stage="as it stands")],
    "no_as_found_reason": "the float is dead",
}


def OUTPUT() -> dict:  # noqa: N802 - a constant that needs the database
    version = a_procedure("output", way="simulated output")
    return {"procedure_version": version, "way": "simulated output"}


def passes(point, cast):
    recorded(point, cast)


def passes_output(point, cast):
    recorded(point, cast, **OUTPUT())


def is_looked_at(point, cast):
    recorded(point, cast, procedure_version=a_procedure("look", is_check=True))


def fails_a_look(point, cast):
    recorded(point, cast, procedure_version=a_procedure("look", is_check=True), found=[2.0] * 9)


def fails(point, cast):
    recorded(point, cast, found=[1.5] * 9)


def is_adjusted(point, cast):
    recorded(point, cast, found=[1.5] * 9, left=[0.1] * 9)


def is_dead(point, cast):
    recorded(point, cast, **DEAD)


def install(point, cast):
    facts = {"on": TODAY, "today": TODAY, "by": cast["planner"]}
    installing.install(point, transmitter=a_transmitter(**ROD), **facts)


def remove(point, cast):
    facts = {"on": TODAY, "today": TODAY, "by": cast["planner"]}
    installing.remove(point, seen=_present(point), goes="spare", **facts)


def swap(point, cast):
    facts = {"on": TODAY, "today": TODAY, "by": cast["planner"], "goes": "in repair"}
    installing.swap(point, transmitter=a_transmitter(**ROD), seen=_present(point), **facts)


def put_back(point, cast):
    """The same transmitter, out and in on one day."""
    device = Installation.objects.get(point=point, removed_on=None).transmitter
    remove(point, cast)
    installing.install(point, transmitter=device, on=TODAY, today=TODAY, by=cast["planner"])


def range_again(point, cast):
    point.refresh_from_db()
    seen = mark_of(point, points.POINT_FIELDS)
    point.upper = Decimal("7.9")
    points.change(point, seen=seen, why="the overfill mark moved", by=cast["planner"])


def change_product(point, cast):
    product_changes.change_product(
        point.tank, product=soybean_oil(), celsius=Decimal(25), on=TODAY, why="a ship",
        by=cast["planner"], at=NOON,
    )  # fmt: skip


def plan(point, cast):
    jobs.plan(point, why=Job.Why.REQUEST, technician=cast["technician"], by=cast["planner"])


def plan_again_by_the_calendar(point, cast):
    jobs.plan(point, technician=cast["technician"], by=cast["planner"])


def cancel(point, cast):
    jobs.cancel(_job(point), why="dipped by hand", by=cast["approver"])


def withdraw(point, cast):
    for use in point.records.latest("pk").standards_used.select_related("certificate"):
        standards.withdraw_certificate(
            use.certificate, on=MONTH_AGO, why="recalled", by=cast["approver"]
        )


def close(point, cast):
    second = cast["approver"]
    point.refresh_from_db()
    reason = next(r for r in point.reasons if r["kind"] in ("failed", "standard", "chance"))
    facts = {"kind": reason["kind"], "of": reason["of"], "why": "compared", "at": NOON}
    statuses.close_reason(point, **facts, by=second)


def defer(point, cast):
    point.refresh_from_db()
    until = max(point.due_on, TODAY) + dt.timedelta(60)
    facts = {"until": until, "reason": "no empty tank", "at": NOON}
    asked = deferrals.ask(point, **facts, by=cast["planner"])
    deferrals.decide(asked, granted=True, by=cast["approver"], at=NOON)


def set_interval(point, cast):
    intervals.change(point, months=24, grace_days=0, why="yearly stop", by=cast["planner"])


def set_policy(point, cast):
    held = Policy.objects.of_point(point)
    seen = mark_of(held, policies.POLICY_FIELDS)
    values = {"parts_within_days": 0, "least_chance_percent": Decimal(50)}
    policies.set_for_point(point, values, seen=seen, why="tried", by=cast["approver"])


def take_out(point, cast):
    facts = {"on": TODAY, "today": TODAY, "why": "relined", "by": cast["planner"]}
    points.take_out_of_service(point, **facts)


def take_out_and_back(point, cast):
    take_out(point, cast)
    points.put_back_in_service(point, by=cast["planner"])


ACTS = [
    passes, passes_output, is_looked_at, fails_a_look, fails, is_adjusted, is_dead, install, remove,
    swap, put_back, range_again, change_product, plan, plan_again_by_the_calendar, cancel, withdraw,
    close, defer, set_interval, set_policy, take_out, take_out_and_back,
]  # fmt: skip


def _present(point) -> int | None:
    row = Installation.objects.filter(point=point, removed_on=None).first()
    return row.pk if row else None


def _job(point) -> Job:
    return Job.objects.open().get(point=point)


IMPOSSIBLE = (Refused, StopIteration, Job.DoesNotExist, Installation.DoesNotExist,
              Calibration.DoesNotExist)  # fmt: skip


def check_status(point: MeasuringPoint) -> None:
    point.refresh_from_db()
    today = point.site.day_of(timezone.now())
    stored = {(reason["kind"], reason["of"]) for reason in point.reasons}
    assert stored == known_of(point, today=today)
    against = {kind for kind, _ in stored} - {"procedure"}
    assert (point.condition == BY_CALENDAR) == (not against)
    if against and point.out_of_service_on is None:
        assert point.status(today).kind not in ("ok", "soon", "over")


@pytest.mark.django_db
@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.__name__)
@pytest.mark.parametrize("before", BEFORE, ids=lambda before: before.__name__)
def test_the_status_says_what_is_recorded(before, act, cast, site):
    a_certified_standard()
    point = before(cast)
    check_status(point)
    with contextlib.suppress(*IMPOSSIBLE):  # refused: then nothing may have changed either
        act(point, cast)
    check_status(point)
    with contextlib.suppress(*IMPOSSIBLE):
        passes(point, cast)
    check_status(point)


@pytest.mark.django_db
@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.__name__)
def test_each_act_is_done_from_one_state_at_least(act, cast, site):
    a_certified_standard()
    point = {install: empty, cancel: demanded, close: failed}.get(act, in_date)(cast)
    entries = LedgerEntry.objects.count()
    act(point, cast)
    assert LedgerEntry.objects.count() > entries


SPEAKS_AGAINST = [fails_a_look, fails, is_dead, remove, swap, range_again, change_product, plan,
                  withdraw]  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize("act", SPEAKS_AGAINST, ids=lambda act: act.__name__)
def test_what_speaks_against_a_reading_ends_its_being_in_date(act, cast, site):
    a_certified_standard()
    point = in_date(cast)
    point.refresh_from_db()
    assert point.condition == BY_CALENDAR
    act(point, cast)
    point.refresh_from_db()
    assert point.condition < BY_CALENDAR


@pytest.mark.django_db
@pytest.mark.parametrize("act", [passes_output, is_looked_at], ids=lambda act: act.__name__)
def test_a_demand_is_not_settled_by_a_part_or_a_look(act, cast, site):
    point = demanded(cast)
    act(point, cast)
    point.refresh_from_db()
    assert [reason["kind"] for reason in point.reasons] == ["demand"]
    assert "only in part" in point.status(TODAY).reasons[0].text
    passes(point, cast)
    point.refresh_from_db()
    assert point.reasons == []


@pytest.mark.django_db(transaction=True)
def test_a_transmitter_put_back_the_same_day_is_calibrated_anew(cast, site):
    point = in_date(cast)
    passes(point, cast)
    put_back(point, cast)
    point.refresh_from_db()
    assert point.status(TODAY).text == "not calibrated"
    passes(point, cast)
    point.refresh_from_db()
    assert point.condition == BY_CALENDAR
