"""The chance that the next as found passes: by every reading, on the page and in the fleet."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest

from calibration.drift.chances import basis_text, chance_text
from calibration.drift.models import Trend
from calibration.drift.reads import trend_of
from calibration.drift.trends import refit
from calibration.families.models import Family
from calibration.fleet import acts as fleet
from calibration.intervals.models import Proposal
from calibration.metrology.shapes import AT
from calibration.policies.models import Policy
from calibration.records.judging import judge, shape_column
from calibration.records.models import Calibration
from plant.transmitters.models import Installation
from tests.calibration.records.test_judging import LEVEL, a_run
from tests.makers import an_equipped_point, an_unsaved_record

pytestmark = pytest.mark.django_db
ARCH = (4 * AT * (1 - AT)).tolist()


def clock() -> dt.datetime:
    return dt.datetime(2026, 11, 20, 2, 0, tzinfo=dt.UTC)


def a_bent_point(tag, bend, *, years=5, drift=0.05, scatter=0.02, seed=1, span=True):
    """One record a year, drifting alike at both ends; tolerance 1 %."""
    point, rng = an_equipped_point(tag), np.random.default_rng(seed)
    device = Installation.objects.get(point=point).transmitter
    Calibration.objects.bulk_create(
        an_unsaved_record(
            point,
            dt.date(2026 - years + n, 11, 1),
            device,
            found_at_zero=drift * n,
            left_at_zero=drift * n,
            found_at_span=drift * n if span else None,
            left_at_span=drift * n if span else None,
            found_largest=drift * n,
            found_verdict="pass",
            shape=(bend * np.array(ARCH) + rng.normal(0, scatter, 9) * (AT != 1)).tolist(),
        )
        for n in range(years)
    )
    return point


def a_bent_family(bend, count=8, **more):
    return [a_bent_point(f"LT-{100 + n}", bend, seed=n, **more) for n in range(count)]


def test_a_record_keeps_what_is_left_of_its_readings_beside_the_line():
    found = judge(a_run([0.0, 0.1, 0.3, 0.1, 0.0, 0.1, 0.1, 0.1, 0.0]), LEVEL)
    left = judge(a_run([0.0, 0.1, 0.1, 0.1, 0.0, 0.1, 0.1, 0.1, 0.0]), LEVEL)
    shape = shape_column(found, left)
    assert shape == pytest.approx([0, 0.1, 0.2, 0.1, 0, 0.1, 0.1, 0.1, 0], abs=1e-6)


def test_what_was_not_read_stays_open():
    run = a_run([0.0, 0.1, 0.3, 0.1, 0.0, 0.1, 0.1, 0.1, 0.0])[:5]
    shape = shape_column(judge(run, LEVEL), judge([], LEVEL))
    assert shape[4] == pytest.approx(0)
    assert np.isnan(shape[5:]).all()


def test_without_both_ends_there_is_no_shape():
    run = a_run([0.0, 0.1, 0.3, 0.1, 0.0, 0.1, 0.1, 0.1, 0.0])[1:4]
    assert shape_column(judge(run, LEVEL), judge([], LEVEL)) is None


def test_a_bent_transmitter_is_less_likely_to_pass_than_its_ends_say(site):
    point = a_bent_point("LT-101", 0.75)
    trend, day = trend_of(point), dt.date(2026, 11, 1)
    by_ends = min(trend.zero.in_tolerance(day), trend.span.in_tolerance(day))
    assert trend.chance(day) < by_ends - 0.2


def test_page_and_fleet_give_the_same_chance(site):
    points = a_bent_family(0.6)
    fleet.run(clock=clock, nightly=True)
    for point in points[:3]:
        stored = Trend.objects.get(point=point)
        assert trend_of(point).chance(point.next_due) == pytest.approx(
            stored.in_tolerance, abs=0.002
        )


def test_an_approval_s_trend_borrows_the_shape_of_the_stored_family(site):
    points = a_bent_family(0.6)
    fleet.run(clock=clock, nightly=True)
    before = Trend.objects.get(point=points[0]).in_tolerance
    Trend.objects.all().delete()
    refit([points[0].pk])
    assert Trend.objects.get(point=points[0]).in_tolerance == pytest.approx(before, abs=0.002)
    family = Family.objects.get(members=8)
    assert family.shape_mean[2] == pytest.approx(0.6, abs=0.12)


def test_the_day_of_doubt_comes_sooner_where_readings_bend(site):
    straight, bent = a_bent_point("LT-101", 0.0), a_bent_point("LT-102", 0.7)
    refit([straight.pk, bent.pk])
    assert Trend.objects.get(point=bent).doubt_on < Trend.objects.get(point=straight).doubt_on


def test_a_guard_band_lowers_the_chance(site):
    point = a_bent_point("LT-101", 0.6)
    before = trend_of(point).chance(point.next_due)
    Policy.objects.create(site=site, duty=point.duty, rule="guard band", guard_share=1)
    assert trend_of(point).chance(point.next_due) < before


def test_a_limited_risk_takes_off_the_tolerance_what_a_guard_band_of_that_quantile_does(site):
    """A risk of 2.5 % allows what 1.96 standard uncertainties off the tolerance do."""
    guarded, limited = (a_bent_point(f"LT-10{n}", 0.6) for n in (1, 2))
    rules = {"guard_share": Decimal("0.98"), "risk_percent": Decimal("2.5")}
    for point, rule in ((guarded, "guard band"), (limited, "limited risk")):
        Policy.objects.create(site=site, point=point, rule=rule, **rules)
    chance, plain = (trend_of(point).chance(guarded.next_due) for point in (limited, guarded))
    assert chance == pytest.approx(plain, abs=1e-4)


def test_words_say_what_the_chance_rests_on(site):
    point = a_bent_point("LT-201", 0.1)
    trend = trend_of(point)
    assert chance_text(trend, point.next_due).endswith("%")
    assert "5 tests of its own and a cautious assumption" in basis_text(trend)
    a_bent_family(0.1)
    fleet.run(clock=clock, nightly=True)
    assert "its family" in basis_text(trend_of(point))


def test_one_known_at_one_end_speaks_of_that_end_alone(site):
    point = a_bent_point("LT-101", 0.1, span=False)
    trend = trend_of(point)
    assert trend.chance(point.next_due) is None
    assert chance_text(trend, point.next_due).endswith("for zero alone")
    assert basis_text(trend) == ""


def test_a_bent_family_is_offered_shorter_intervals_and_told_why(site):
    a_bent_family(0.4, drift=0.1)
    Policy.objects.create(site=site, duty="general", method="drift", longest_months=60)
    fleet.run(clock=clock, nightly=True)
    proposal = Proposal.objects.first()
    assert proposal.reasons[1] == {"says": "every reading"}
    decided = proposal.reasons[2]
    assert decided["says"] == "target"
    assert decided["probability"] == pytest.approx(decided["target"], abs=0.01)
