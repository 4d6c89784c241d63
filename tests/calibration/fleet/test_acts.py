"""The nightly pass: what it fits, stores and asks, and that it leaves alone what did not change."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from django.db import connection

from calibration.drift import acts as steps
from calibration.drift.models import JumpQuestion, Trend
from calibration.drift.reads import trend_of
from calibration.drift.refusals import NoCause, NoEvidence
from calibration.drift.results import date_of, points_of
from calibration.drift.rows import ADJUSTED, FOUND_OUT, ROW, SIMULATED
from calibration.families.models import Family
from calibration.fleet import acts as fleet
from calibration.fleet.models import FleetRun
from calibration.intervals import acts as intervals
from calibration.intervals import methods
from calibration.intervals.models import Proposal
from calibration.metrology import fleet_fit
from calibration.policies.models import Policy
from calibration.records.models import Calibration
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed
from plant.transmitters.models import Installation
from tests.makers import NOON, an_equipped_point, an_unsaved_record

pytestmark = pytest.mark.django_db(transaction=True)


def clock():
    from django.utils import timezone

    return timezone.now()


def recorded_point(tag, errors, *, adjusted=(), simulated=()):
    """One approved record a year, the errors the same at zero and span."""
    point = an_equipped_point(tag)
    device = Installation.objects.get(point=point).transmitter
    Calibration.objects.bulk_create(
        an_unsaved_record(
            point,
            dt.date(2026 - len(errors) + n, 11, 1),
            device,
            way="simulated output" if n in simulated else "wetted level by dip",
            adjusted=n in adjusted,
            found_at_zero=error,
            left_at_zero=0.0 if n in adjusted else error,
            found_at_span=error,
            left_at_span=0.0 if n in adjusted else error,
            found_largest=abs(error),
            found_verdict="pass" if abs(error) <= 1 else "fail",
        )
        for n, error in enumerate(errors)
    )
    return point


def recorded_family(count=8, rate=0.05, seed=1):
    rng = np.random.default_rng(seed)
    return [
        recorded_point(f"LT-{100 + n}", (rate * np.arange(6) + rng.normal(0, 0.02, 6)).tolist())
        for n in range(count)
    ]


def test_a_family_keeps_how_its_forecasts_held(site):
    recorded_family(count=8)
    recorded_point("LT-201", [0.0, 0.05, 0.10, 0.15, 2.0, 2.05])  # one jump: not forecast
    fleet.run(clock=clock, nightly=True)
    family = Family.objects.get(members=9)
    assert family.forecasts == 9 * 2 * 4
    assert 0.85 * family.forecasts < family.forecasts_held <= family.forecasts - 2


def test_some_members_of_a_large_family_speak_for_all(site, monkeypatch):
    recorded_family(count=9)
    monkeypatch.setattr(fleet_fit, "SAMPLE", 7)
    fleet.run(clock=clock, nightly=True)
    family = Family.objects.get(members=9)
    assert family.forecasts == 7 * 2 * 4
    assert len(family.zero_weights) > 1  # and it lends


def test_a_record_s_packed_row_says_what_its_columns_say(site):
    point = recorded_point("LT-101", [0.1, 0.7, 1.2], adjusted=(1,), simulated=(2,))
    with connection.cursor() as cursor:
        cursor.execute("SELECT drift_row FROM calibration_calibration ORDER BY done_on")
        packed = b"".join(bytes(row) for (row,) in cursor.fetchall())
    rows = np.frombuffer(packed, ROW)
    for row, record in zip(rows, Calibration.objects.order_by("done_on"), strict=True):
        assert row["point"] == point.pk
        assert (row["record"], row["transmitter"]) == (record.pk, record.transmitter_id)
        assert date_of(row["day"]) == record.done_on
        assert (row["amends"], row["job"], row["shared_zero"]) == (0, 0, 0)
        assert (row["found_zero"], row["left_span"]) == (record.found_at_zero, record.left_at_span)
        assert np.isnan(row["u_zero"])
    assert rows["flags"].tolist() == [0, ADJUSTED, FOUND_OUT | SIMULATED]


def test_a_family_is_fitted_and_lends_to_one_with_two_results(site):
    recorded_family()
    short = recorded_point("LT-201", [0.0, 0.06])
    done = fleet.run(clock=clock, nightly=True)
    assert (done.points, done.done, done.trouble) == (9, 9, "")
    family = Family.objects.get(members=9)
    assert family.zero_rate == pytest.approx(0.05, abs=0.02)
    assert sum(family.span_weights) == pytest.approx(1)
    trend = Trend.objects.get(point=short)
    assert trend.family == family
    assert trend.own_weight < 0.8
    assert trend.crossing_on is not None  # its two results alone would name no day
    drift = trend_of(short).zero
    assert drift.outlook.others[0] == 8
    assert drift.rate == pytest.approx((trend.zero_rate, trend.zero_rate_low, trend.zero_rate_high))


def test_two_results_alone_name_no_day(site):
    point = recorded_point("LT-201", [0.0, 0.3])
    fleet.run(clock=clock, nightly=True)
    trend = Trend.objects.get(point=point)
    assert trend.zero_rate is not None
    assert (trend.crossing_on, trend.in_tolerance) == (None, None)
    assert not Proposal.objects.exists()


def test_a_second_pass_does_nothing_where_nothing_changed(site):
    recorded_family()
    first = fleet.run(clock=clock, nightly=True)
    fitted = dict(Trend.objects.values_list("point_id", "fitted_at"))
    assert fleet.run(clock=clock, nightly=True) is None
    assert FleetRun.objects.get() == first
    assert dict(Trend.objects.values_list("point_id", "fitted_at")) == fitted


def test_a_new_record_stirs_its_family_and_no_other(site):
    recorded_family()
    other = recorded_point("LT-301", [0.0, 0.1, 0.2])
    other.installations.get().transmitter.__class__.objects.filter(
        installations__point=other
    ).update(principle="radar")
    fleet.run(clock=clock, nightly=True)
    before = dict(Trend.objects.values_list("point_id", "fitted_at"))
    recorded_point("LT-109", [0.0, 0.05, 0.1])
    done = fleet.run(clock=clock, nightly=True)
    assert done.done == 9
    after = dict(Trend.objects.values_list("point_id", "fitted_at"))
    assert after[other.pk] == before[other.pk]
    assert sum(after[pk] != before[pk] for pk in before) == 8


def test_a_step_is_asked_about_once_and_counts_as_a_fresh_level(site):
    recorded_family(12)
    stepped = recorded_point("LT-201", [0.0, 0.05, 0.1, 0.75, 0.8, 0.85])
    fleet.run(clock=clock, nightly=True)
    asked = JumpQuestion.objects.filter(point=stepped)
    assert {(q.end, q.record.done_on.year, q.kind) for q in asked} == {
        ("zero", 2023, "step"),
        ("span", 2023, "step"),
    }
    assert asked[0].size_percent == pytest.approx(0.6, abs=0.05)
    assert JumpQuestion.objects.exclude(point=stepped).count() <= 1
    trend = Trend.objects.get(point=stepped)
    assert trend.zero_rate == pytest.approx(0.05, abs=0.02)
    assert trend_of(stepped).zero.visits[3].fresh
    fleet.run(clock=clock, nightly=True)
    assert asked.count() == 2


def test_the_answer_decides_how_it_counts(planner, auditor):
    recorded_family(12)
    stepped = recorded_point("LT-201", [0.0, 0.05, 0.1, 0.75, 0.8, 0.85])
    fleet.run(clock=clock, nightly=True)
    for question in JumpQuestion.objects.filter(point=stepped):
        steps.answer(
            question, cause="repair", text="New electronics, order 4411.", by=planner, at=NOON
        )
    assert trend_of(stepped).zero.results == 3  # the segment since the repair
    entry = LedgerEntry.objects.filter(act="answer step").first()
    assert (entry.person, entry.why) == (planner, "New electronics, order 4411.")
    for question in JumpQuestion.objects.filter(point=stepped):
        steps.answer(question, cause="drift", text="Really?", by=planner, at=NOON)
    drift = trend_of(stepped).zero
    assert drift.results == 6
    assert not any(visit.fresh for visit in drift.visits[1:])
    assert drift.rate[0] > 0.08
    with pytest.raises(NoEvidence):
        steps.answer(question, cause="repair", text=" ", by=planner, at=NOON)
    with pytest.raises(NoCause):
        steps.answer(question, cause="moonlight", text="x", by=planner, at=NOON)
    with pytest.raises(NotAllowed):
        steps.answer(question, cause="repair", text="x", by=auditor, at=NOON)


def test_a_bad_reading_is_set_aside(planner):
    bad = recorded_point("LT-201", [0.0, 0.05, 0.1, 0.75, 0.2, 0.25])
    record = bad.records.get(done_on__year=2023)
    for end in ("zero", "span"):
        question = JumpQuestion.objects.create(
            site=bad.site, point=bad, record=record, end=end, size_percent=0.6, chance=0.001,
            kind="bad reading", raised_at=NOON,
        )  # fmt: skip
        steps.answer(question, cause="bad reading", text="Tape misread.", by=planner, at=NOON)
    drift = trend_of(bad).span
    assert drift.results == 5
    assert record.done_on not in drift.days
    assert drift.rate[0] == pytest.approx(0.05, abs=0.02)


def test_a_single_bad_reading_is_asked_about_and_set_aside_meanwhile(site):
    recorded_family(12)
    bad = recorded_point("LT-201", [0.0, 0.05, 0.1, 0.75, 0.2, 0.25])
    fleet.run(clock=clock, nightly=True)
    asked = JumpQuestion.objects.filter(point=bad)
    assert {(q.end, q.kind, q.record.done_on.year) for q in asked} == {
        ("zero", "bad reading", 2023),
        ("span", "bad reading", 2023),
    }
    drift = trend_of(bad).zero
    assert drift.results == 5
    assert Trend.objects.get(point=bad).zero_rate == pytest.approx(drift.rate[0])


def test_a_run_that_lost_its_worker_is_taken_up_again(site):
    recorded_family()
    lost = FleetRun.objects.create(
        started_at=clock(), alive_at=clock() - fleet.LOST, points=99, done=3
    )
    done = fleet.run(clock=clock, nightly=False)
    assert (done.pk, done.points, done.done) == (lost.pk, 8, 8)
    assert done.finished_at is not None
    FleetRun.objects.create(started_at=clock(), alive_at=clock(), points=99, done=3)
    assert fleet.run(clock=clock, nightly=True) is None  # that one lives


def test_trouble_is_told_and_the_next_pass_does_it_all(site, monkeypatch):
    recorded_family()
    monkeypatch.setattr(methods, "make", lambda *a, **k: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        fleet.run(clock=clock, nightly=True)
    assert "ZeroDivisionError" in FleetRun.objects.get().trouble
    assert not Trend.objects.exists()
    monkeypatch.undo()
    assert fleet.run(clock=clock, nightly=True).done == 8


def test_only_a_planner_asks_for_everything_again(planner, auditor):
    recorded_family()
    site = planner.appointments.first().site
    fleet.run(clock=clock, nightly=True)
    with pytest.raises(NotAllowed):
        fleet.ask(site, by=auditor, at=clock())
    fleet.ask(site, by=planner, at=clock())
    assert fleet.run(clock=clock, nightly=False).done == 8
    assert LedgerEntry.objects.filter(act="compute fleet again", person=planner).count() == 1


def test_each_method_offers_what_it_would_choose(planner):
    by_drift, stairs, fixed, *_ = recorded_family(9, rate=0.04)
    for point, method in ((stairs, "staircase"), (fixed, "fixed")):
        Policy.objects.create(site=point.site, point=point, method=method)
    fleet.run(clock=clock, nightly=True)
    offered = {p.point_id: p for p in Proposal.objects.open()}
    assert fixed.pk not in offered
    assert (offered[stairs.pk].months, offered[stairs.pk].method) == (13, "staircase")
    one = offered[by_drift.pk]
    assert 12 < one.months <= 24
    assert one.in_tolerance >= 0.95
    intervals.change(stairs, months=13, grace_days=0, why="as the stair says", by=planner)


def test_a_staircase_proposes_where_no_point_has_two_results(site):
    point = recorded_point("LT-101", [0.1])
    Policy.objects.create(site=point.site, point=point, method="staircase")
    made = fleet.run(clock=clock, nightly=True)
    assert made.proposals == 1
    [proposal] = Proposal.objects.open()
    assert (proposal.point_id, proposal.months, proposal.method) == (point.pk, 13, "staircase")


def test_the_family_s_reliability_chooses_for_all_its_members(site):
    point, *_ = recorded_family(9, rate=0.04)
    Policy.objects.create(site=point.site, duty=point.duty, method="reliability", target_percent=90)
    fleet.run(clock=clock, nightly=True)
    offered = Proposal.objects.open()
    assert offered.count() == 9
    for one in offered:
        assert one.method == "reliability"
        assert one.reasons[0]["results"] == 45
        assert one.reasons[0]["out"] == 0
        assert one.reasons[0]["by"] == "limit"


def test_a_policy_that_is_dropped_stirs_its_point_too(site):
    point, *_ = recorded_family(9, rate=0.04)
    own = Policy.objects.create(site=point.site, point=point, method="fixed")
    fleet.run(clock=clock, nightly=True)
    assert not Proposal.objects.filter(point=point).exists()
    own.delete()
    assert fleet.run(clock=clock, nightly=True).done == 9
    assert Proposal.objects.open().filter(point=point).exists()


@pytest.mark.parametrize(
    "limit",
    [
        {"tolerance": "0.75", "tolerance_unit": "%"}, {"tolerance": "0.08", "tolerance_unit": "mA"},
        {"tolerance": "0.08", "tolerance_unit": "mA", "signal": "0-20mA"}, {"tolerance": "40", "tolerance_unit": "mm"},
        {"tolerance": "40", "tolerance_unit": "mm", "lower": "8.3", "upper": "0.3"},
        {"tolerance": "40", "tolerance_down": "60", "tolerance_unit": "mm"},
        {"tolerance": "0.5", "tolerance_down": "0.25", "tolerance_unit": "%"},
        {"tolerance": "0.08", "tolerance_unit": "mA", "tolerance_sides": "at most"},
        {"tolerance": "40", "tolerance_unit": "mm", "tolerance_sides": "at least"},
    ],
)  # fmt: skip
def test_the_fleet_s_tolerance_is_the_register_s(site, limit):
    point = an_equipped_point("LT-201", adjust_limit="0.01", **limit)
    point.refresh_from_db()
    (facts,) = points_of([point.pk])
    stored, known = facts.limits, point.error_limits
    assert (stored.down, stored.up) == pytest.approx((known.down, known.up), rel=1e-12)
    assert (stored.sides, stored.size) == (known.sides, pytest.approx(point.limits.percent))


def test_a_swap_takes_the_trend_of_the_old_transmitter_away(site):
    point = recorded_point("LT-201", [0.0, 0.1, 0.2])
    fleet.run(clock=clock, nightly=True)
    assert Trend.objects.filter(point=point).exists()
    hung = point.installations.get()
    hung.removed_on = dt.date(2026, 11, 2)
    hung.save()
    new = an_equipped_point("LT-999").installations.get()
    new.removed_on = dt.date(2026, 11, 1)
    new.save()
    Installation.objects.create(
        site=point.site, point=point, transmitter=new.transmitter, installed_on=dt.date(2026, 11, 2)
    )
    fleet.run(clock=clock, nightly=True)
    assert not Trend.objects.filter(point=point).exists()


def test_simulated_outputs_stay_out_of_the_drift_of_the_whole_chain(site):
    point = recorded_point("LT-201", [0.0, 0.02, 0.1, 0.3, 0.35], simulated=(1, 3), adjusted=(3,))
    drift = trend_of(point).zero
    assert [day.year for day in drift.days] == [2021, 2023, 2025]
    assert [visit.fresh for visit in drift.visits] == [
        False,
        False,
        True,
    ]  # the output was trimmed in between
    only = recorded_point("LT-202", [0.0, 0.02, 0.04], simulated=(0, 1, 2))
    assert trend_of(only).zero.results == 3
