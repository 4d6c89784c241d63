"""Proposals: offered in sets by the nightly pass, decided one by one by people, each decision in
the ledger.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration.intervals import acts as intervals
from calibration.intervals import proposals
from calibration.intervals.models import Proposal
from calibration.intervals.proposals import Counts, Offer
from calibration.intervals.refusals import (
    AlreadyDecided,
    AnotherApproverMustAgree,
    ApproverMustAgree,
    IntervalChanged,
    NotLengthened,
    OutsidePolicy,
    PointOutOfService,
)
from calibration.jobs.models import Job
from calibration.policies.models import Policy
from plant.ledger.models import LedgerEntry, RowHistory
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed, ReasonMissing, Refused
from tests import makers
from tests.makers import NOON, TODAY
from tests.races import outcomes

IN_A_YEAR = TODAY + dt.timedelta(365)
LATER = NOON + dt.timedelta(days=1)
REASONS = [{"says": "target", "target": 0.95, "probability": 0.952, "years": 1.5}]


def an_offer(point: MeasuringPoint, months: int = 18, **more) -> Offer:
    facts = {"method": "drift", "months_now": point.interval_months, "in_tolerance_now": 0.981,
             "in_tolerance": 0.952, "reasons": REASONS, **more}  # fmt: skip
    return Offer(point.pk, point.site_id, months=months, **facts)


def offered(point: MeasuringPoint, months: int = 18, **more) -> Proposal:
    proposals.offer([an_offer(point, months, **more)], at=NOON)
    return Proposal.objects.get(point=point, state="open")


def states() -> list[str]:
    return list(Proposal.objects.order_by("id").values_list("state", flat=True))


# ---- offered ----
def test_an_offer_becomes_a_proposal_with_its_numbers(site):
    point = makers.a_calibrated_point()
    assert proposals.offer([an_offer(point)], at=NOON) == Counts(made=1, renewed=0, replaced=0)
    one = Proposal.objects.get()
    assert (one.point, one.site, one.made_at, one.state) == (point, site, NOON, "open")
    assert (one.months_now, one.months, one.method) == (12, 18, "drift")
    assert (one.in_tolerance_now, one.in_tolerance, one.reasons) == (0.981, 0.952, REASONS)


def test_the_same_offer_again_writes_nothing(site):
    points = [makers.a_calibrated_point(f"LT-{n}") for n in range(3)]
    rows = [an_offer(point) for point in points]
    proposals.offer(rows, at=NOON)
    with CaptureQueriesContext(connection) as asked:
        nearly = [replace(row, in_tolerance=0.9523) for row in rows]
        assert proposals.offer(nearly, at=LATER) == Counts(0, 0, 0)
    assert not [q for q in asked if q["sql"].lstrip().startswith("INSERT")]
    assert set(Proposal.objects.values_list("made_at", "in_tolerance")) == {(NOON, 0.952)}
    assert not RowHistory.objects.filter(table_name="calibration_proposal").exists()


def test_figures_that_moved_are_renewed_in_place(site):
    point = makers.a_calibrated_point()
    first = offered(point)
    moved = an_offer(point, in_tolerance=0.96, reasons=[{"says": "if no step comes"}])
    assert proposals.offer([moved], at=LATER) == Counts(0, 1, 0)
    one = Proposal.objects.get()
    assert (one.pk, one.made_at, one.in_tolerance) == (first.pk, NOON, 0.96)
    assert one.reasons == [{"says": "if no step comes"}]


def test_a_figure_that_comes_or_goes_is_renewed_too(site):
    point = makers.a_calibrated_point()
    offered(point)
    stair = an_offer(point, method="staircase", in_tolerance_now=None, in_tolerance=None)
    assert proposals.offer([stair], at=LATER).renewed == 1
    assert proposals.offer([stair], at=LATER) == Counts(0, 0, 0)
    assert Proposal.objects.get().in_tolerance is None


def test_another_interval_replaces_what_waits(site):
    point = makers.a_calibrated_point()
    offered(point)
    assert proposals.offer([an_offer(point, 20)], at=LATER) == Counts(1, 0, 1)
    assert states() == ["replaced", "open"]
    assert Proposal.objects.get(state="open").made_at == LATER


def test_an_interval_changed_meanwhile_replaces_what_waits(site, planner):
    point = makers.a_calibrated_point()
    offered(point)
    MeasuringPoint.objects.update(interval_months=15)
    assert proposals.offer([an_offer(point, 18, months_now=15)], at=LATER) == Counts(1, 0, 1)


def test_an_offer_of_what_holds_already_takes_back_what_waits(site):
    point = makers.a_calibrated_point()
    offered(point)
    assert proposals.offer([an_offer(point, 12)], at=LATER) == Counts(0, 0, 1)
    assert states() == ["replaced"]


def test_what_was_worked_out_for_another_interval_is_not_offered(site):
    point = makers.a_calibrated_point()
    assert proposals.offer([an_offer(point, months_now=9)], at=NOON) == Counts(0, 0, 0)
    gone = makers.a_calibrated_point(
        "LT-2", out_of_service_on=TODAY, out_of_service_why="Tank is scrapped."
    )
    assert proposals.offer([an_offer(gone)], at=NOON) == Counts(0, 0, 0)


def test_withdrawing_takes_back_what_waits_and_nothing_else(site, planner):
    points = [makers.a_calibrated_point(f"LT-{n}") for n in range(3)]
    for point in points:
        offered(point)
    intervals.decline(Proposal.objects.get(point=points[0]), why="No.", by=planner, at=NOON)
    assert proposals.withdraw([points[0].pk, points[1].pk]) == 1
    assert states() == ["declined", "replaced", "open"]
    assert proposals.withdraw([]) == 0


def test_what_was_declined_is_not_offered_again(site, planner):
    point = makers.a_calibrated_point()
    intervals.decline(offered(point), why="Only before the shutdown.", by=planner, at=NOON)
    assert proposals.offer([an_offer(point)], at=LATER) == Counts(0, 0, 0)
    assert proposals.offer([an_offer(point, 19)], at=LATER) == Counts(1, 0, 0)


def test_after_a_later_record_the_same_is_offered_again(planner, technician, approver):
    point = makers.a_calibrated_point()
    makers.an_approved_record(point, by=technician, approved_by=approver)
    intervals.decline(offered(point), why="Not yet.", by=planner, at=LATER)
    assert proposals.offer([an_offer(point)], at=LATER) == Counts(0, 0, 0)
    makers.an_approved_record(
        point, by=technician, approved_by=approver, at=LATER + dt.timedelta(1)
    )
    assert proposals.offer([an_offer(point)], at=LATER) == Counts(1, 0, 0)


def test_after_the_interval_moved_the_same_months_are_offered_again(site, planner):
    point = makers.a_calibrated_point()
    intervals.decline(offered(point), why="Not yet.", by=planner, at=NOON)
    MeasuringPoint.objects.update(interval_months=15)
    assert proposals.offer([an_offer(point, months_now=15)], at=LATER).made == 1


def test_what_is_no_number_is_stored_as_nothing(site):
    point = makers.a_calibrated_point()
    one = offered(point, in_tolerance=math.nan, reasons=[{"says": "rate", "rate": math.inf}])
    assert one.in_tolerance is None
    assert one.reasons == [{"says": "rate", "rate": None}]


def test_a_fleet_costs_as_many_questions_as_one_point(site):
    points = [makers.a_calibrated_point(f"LT-{n}") for n in range(20)]

    def questions(rows) -> int:
        with CaptureQueriesContext(connection) as asked:
            proposals.offer(rows, at=NOON)
        return len(asked)

    assert questions([an_offer(points[0])]) == questions([an_offer(p) for p in points[1:]])


# ---- accepted ----
def test_accepting_sets_interval_and_due_date(planner, technician, approver):
    record = makers.an_approved_record(by=technician, approved_by=approver)
    done = intervals.accept(offered(record.point), by=planner, at=LATER)
    point = MeasuringPoint.objects.get()
    assert (point.interval_months, point.due_on) == (18, dt.date(2028, 5, 2))
    assert (done.state, done.decided_by, done.decided_at) == ("accepted", planner, LATER)
    entry = LedgerEntry.objects.get(act="accept interval")
    assert (entry.person, entry.subject) == (planner, "LT-101A")
    assert entry.details["was"] == {"months": 12, "grace": 0, "due": "2027-11-02"}
    assert entry.details["is"] == {"months": 18, "grace": 0, "due": "2028-05-02"}
    assert (entry.details["method"], entry.details["in tolerance"]) == (
        "drift and its uncertainty", 0.952,
    )  # fmt: skip


def test_a_grace_too_long_for_the_shorter_interval_is_cut_and_told(planner):
    point = makers.a_calibrated_point(grace_days=90)
    intervals.accept(offered(point, 4), by=planner, at=NOON)
    point.refresh_from_db()
    assert (point.interval_months, point.grace_days) == (4, 60)
    details = LedgerEntry.objects.get(act="accept interval").details
    assert details["grace shortened to half the interval, days"] == [90, 60]


def test_a_longer_interval_for_safety_duty_takes_a_planner_and_an_approver(planner, approver):
    point = makers.a_calibrated_point(duty="safety", due_on=IN_A_YEAR)
    one = intervals.accept(offered(point), by=planner, at=NOON)
    point.refresh_from_db()
    assert (one.state, one.agreed_by, one.decided_by, point.interval_months) == (
        "agreed", planner, None, 12,
    )  # fmt: skip
    assert LedgerEntry.objects.get(act="agree to interval").details["months"] == [12, 18]
    with pytest.raises(ApproverMustAgree):
        intervals.accept(one, by=planner, at=NOON)
    done = intervals.accept(one, by=approver, at=LATER)
    point.refresh_from_db()
    assert (done.state, done.decided_by, point.interval_months) == ("accepted", approver, 18)
    entry = LedgerEntry.objects.get(act="accept interval")
    assert entry.details["agreed by"] == str(planner)


def test_who_agreed_cannot_approve_as_well(site, approver):
    both = makers.a_person("both", "planner", "approver")
    one = intervals.accept(offered(makers.a_calibrated_point(duty="safety")), by=both, at=NOON)
    with pytest.raises(AnotherApproverMustAgree):
        intervals.accept(one, by=both, at=NOON)
    assert MeasuringPoint.objects.get().interval_months == 12


def test_a_shorter_interval_for_safety_duty_takes_one(planner):
    done = intervals.accept(
        offered(makers.a_calibrated_point(duty="safety"), 9), by=planner, at=NOON
    )
    assert done.state == "accepted"


def test_what_was_agreed_is_offered_again_without_losing_the_word_given(planner):
    point = makers.a_calibrated_point(duty="safety")
    intervals.accept(offered(point), by=planner, at=NOON)
    assert proposals.offer([an_offer(point)], at=LATER) == Counts(0, 0, 0)
    assert states() == ["agreed"]


def test_later_figures_make_an_acceptance_too_late(planner):
    point = makers.a_calibrated_point()
    one = offered(point)
    proposals.offer([an_offer(point, 20)], at=LATER)
    with pytest.raises(AlreadyDecided):
        intervals.accept(one, by=planner, at=LATER)


def test_an_interval_set_by_hand_makes_an_acceptance_too_late(planner):
    point = makers.a_calibrated_point()
    one = offered(point)
    intervals.change(point, months=9, grace_days=0, why="By hand.", by=planner)
    with pytest.raises(AlreadyDecided) as refusal:
        intervals.accept(one, by=planner, at=LATER)
    assert refusal.value.months == 9


def test_an_interval_moved_by_an_import_makes_an_acceptance_too_late(planner):
    one = offered(makers.a_calibrated_point())
    MeasuringPoint.objects.update(interval_months=15)
    with pytest.raises(IntervalChanged) as refusal:
        intervals.accept(one, by=planner, at=LATER)
    assert (refusal.value.months, refusal.value.computed_for) == (15, 12)


def test_outside_the_policy_s_bounds_nothing_is_accepted(planner):
    point = makers.a_calibrated_point(due_on=IN_A_YEAR)
    one = offered(point, 40)
    Policy.objects.create(site=point.site, duty=point.duty, longest_months=36)
    with pytest.raises(OutsidePolicy) as refusal:
        intervals.accept(one, by=planner, at=LATER)
    parts = refusal.value
    assert (parts.shortest, parts.longest, parts.months) == (3, 36, 40)


def test_a_point_out_of_service_keeps_its_interval(planner):
    one = offered(makers.a_calibrated_point())
    MeasuringPoint.objects.update(out_of_service_on=TODAY, out_of_service_why="Scrapped.")
    with pytest.raises(PointOutOfService):
        intervals.accept(one, by=planner, at=LATER)


# ---- declined ----
def test_declining_keeps_the_interval_and_the_reason(planner):
    proposal = offered(makers.a_calibrated_point())
    done = intervals.decline(proposal, why=" Shutdown is yearly. ", by=planner, at=LATER)
    assert (done.state, done.why, done.decided_by) == ("declined", "Shutdown is yearly.", planner)
    assert MeasuringPoint.objects.get().interval_months == 12
    entry = LedgerEntry.objects.get(act="decline interval")
    assert (entry.why, entry.details["months"]) == ("Shutdown is yearly.", [12, 18])


def test_declining_needs_a_reason(planner):
    one = offered(makers.a_calibrated_point())
    with pytest.raises(ReasonMissing) as refusal:
        intervals.decline(one, why="\n", by=planner, at=LATER)
    assert refusal.value.field == "why"
    assert states() == ["open"]


def test_an_approver_declines_what_a_planner_agreed_to(planner, approver):
    one = intervals.accept(offered(makers.a_calibrated_point(duty="safety")), by=planner, at=NOON)
    assert intervals.decline(one, why="Too long.", by=approver, at=LATER).state == "declined"


@pytest.mark.parametrize("role", ["technician", "auditor", "administrator", "outsider"])
def test_only_those_who_plan_or_approve_decide(request, site, role):
    one = offered(makers.a_calibrated_point())
    person = request.getfixturevalue(role)
    with pytest.raises(NotAllowed):
        intervals.accept(one, by=person, at=NOON)
    with pytest.raises(NotAllowed):
        intervals.decline(one, why="No.", by=person, at=NOON)
    assert states() == ["open"]


# ---- two at once ----
@pytest.mark.django_db(transaction=True)
def test_of_two_planners_at_once_one_learns_that_it_is_decided(planner):
    second = makers.a_person("second", "planner")
    one = offered(makers.a_calibrated_point(due_on=IN_A_YEAR))
    answers = outcomes(
        lambda: intervals.accept(one, by=planner, at=LATER),
        lambda: intervals.decline(one, why="Not now.", by=second, at=LATER),
    )
    assert answers[1] == "done"
    assert "this proposal for LT-101A already" in answers[0]
    acts = LedgerEntry.objects.filter(act__in=["accept interval", "decline interval"])
    assert acts.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_passes_at_once_offer_once(planner):
    points = [makers.a_calibrated_point(f"LT-{n}") for n in range(30)]
    rows = [an_offer(point) for point in points]
    assert outcomes(*[lambda: proposals.offer(rows, at=NOON)] * 3) == ["done"] * 3
    assert states() == ["open"] * 30


@pytest.mark.django_db(transaction=True)
def test_a_pass_and_a_planner_at_once_never_wait_for_each_other_in_a_ring(planner):
    points = [makers.a_calibrated_point(f"LT-{n}", due_on=IN_A_YEAR) for n in range(12)]
    waiting = [offered(point) for point in points]

    def all_accepted():
        for one in waiting:
            try:
                intervals.accept(one, by=planner, at=LATER)
            except Refused:
                continue

    def all_anew():
        proposals.offer([an_offer(point, 20) for point in points], at=LATER)

    assert outcomes(all_accepted, all_anew) == ["done", "done"]
    for point in MeasuringPoint.objects.all():
        ends = set(point.proposals.values_list("state", flat=True))
        assert ends in ({"accepted"}, {"replaced", "open"})
        assert point.interval_months == (18 if ends == {"accepted"} else 12)


@pytest.mark.parametrize("more", [{"due_on": TODAY - dt.timedelta(1)}, {"due_on": IN_A_YEAR}])
def test_nothing_overdue_or_in_doubt_is_lengthened_by_one_press(planner, more):
    point = makers.a_calibrated_point(**more)
    if point.due_on == IN_A_YEAR:
        Job.objects.create(site=point.site, point=point, due_on=TODAY, why="request")
    with pytest.raises(NotLengthened):
        intervals.accept(offered(point), by=planner, at=NOON)
    shorter = offered(point, 6)
    assert intervals.accept(shorter, by=planner, at=NOON).state == "accepted"
