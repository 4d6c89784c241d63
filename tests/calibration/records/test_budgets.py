"""The uncertainty of a record's errors: by hand with another library, by simulation, and what
follows from it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import GTC
import numpy as np
import pytest

from calibration.findings.models import Finding
from calibration.policies.models import Policy
from calibration.records import acts as records
from calibration.records.budgets import uncertainty_of
from calibration.records.judging import Range, judge_stages
from calibration.records.models import Calibration
from calibration.records.setup import Setup
from plant.level.tolerance import Limits
from tests.makers import (
    NOON,
    TODAY,
    a_certificate,
    a_certified_standard,
    a_job,
    a_reading,
    a_record,
    a_sent_record,
    a_standard,
    an_approved_record,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db
SPAN_MM, SPAN_MA = 8000.0, 16.0


@pytest.fixture
def setup(site):
    """A dip of a point of 0.3 to 8.3 m, the loop read with a meter of ± (0.02 % + 0.002 mA) and
    0.001 mA steps.
    """
    point = an_equipped_point()
    meter = a_standard("MM-77", kind="multimeter")
    a_certificate(
        meter,
        unit="mA",
        percent_of_reading=Decimal("0.02"),
        absolute=Decimal("0.002"),
        resolution=Decimal("0.001"),
        expanded_uncertainty=Decimal("0.002"),
        coverage_factor=Decimal(2),
        percent_of_range=None,
    )
    device = point.installations.get().transmitter
    return Setup(point, device, "wetted level by dip", [(meter, meter.certificates.get())])


def test_a_dip_by_hand(setup):
    """Every component once more with GTC, JCGM 100: at 8.3 m and 20 mA."""
    uncertainty = uncertainty_of(setup, [a_reading("8.3", "20.000")])
    mm, ma = 100 / SPAN_MM, 100 / SPAN_MA
    tape = 0.3 + 0.2 * 9 + 0.2  # class II of EU 2014/32 annex X, nine metres begun, and the bob

    def flat(half):
        return GTC.ureal(0, half / 3**0.5)

    error = mm * (
        flat(tape)
        + GTC.ureal(0, 1 / 6**0.5)
        + flat(2)
        + flat(2)
        + flat(1000 * 11.5e-6 * 5 * 8.3)
        + GTC.ureal(0, 1 / 3**0.5, df=2)
    ) + ma * (flat(0.0002 * 20 + 0.002) + GTC.ureal(0, 0.001) + flat(0.0005))
    assert uncertainty.u[0] == pytest.approx(GTC.uncertainty(error), rel=1e-9)
    assert uncertainty.dof[0] == pytest.approx(GTC.dof(error), rel=1e-6)
    assert uncertainty.expanded[0] == pytest.approx(uncertainty.k[0] * uncertainty.u[0])


def test_its_interval_holds_what_a_simulation_draws(setup):
    """JCGM 101: a million draws of every component; 95 % of them lie within ± U."""
    uncertainty = uncertainty_of(setup, [a_reading("8.3", "20.000")])
    rng, n = np.random.default_rng(101), 1_000_000
    mm, ma = 100 / SPAN_MM, 100 / SPAN_MA
    drawn = mm * (
        rng.uniform(-2.3, 2.3, n)
        + rng.triangular(-1, 0, 1, n)
        + rng.uniform(-2, 2, n)
        + rng.uniform(-2, 2, n)
        + rng.uniform(-0.477, 0.477, n)
        + rng.normal(0, 1 / 3**0.5, n)
    ) + ma * (
        rng.uniform(-0.006, 0.006, n) + rng.normal(0, 0.001, n) + rng.uniform(-0.0005, 0.0005, n)
    )
    assert np.mean(np.abs(drawn) <= uncertainty.expanded[0]) == pytest.approx(0.95, abs=0.012)


def test_what_nobody_measured_is_marked_and_what_lasts_stays_out_of_the_drift(setup):
    columns = uncertainty_of(setup, [a_reading("0.3", "4"), a_reading("8.3", "20")]).columns(
        Limits.of(1.0)
    )
    parts = {part["name"]: part for part in columns["budget"]["components"]}
    assert parts["datum plate and bottom"]["assumed"]
    assert not parts["meter specification"]["assumed"]
    assert sum(part["share"] for part in parts.values()) == pytest.approx(1)
    assert columns["u_span"] < columns["budget"]["u"]
    assert columns["u_span_shared"] <= columns["u_span"]
    assert columns["tur"] == pytest.approx(1.0 / columns["budget"]["U"])


def test_the_uncertainty_ratio_is_that_of_half_the_width_and_none_of_one_limit(setup):
    known = uncertainty_of(setup, [a_reading("0.3", "4"), a_reading("8.3", "20")])
    columns = known.columns(Limits.of(0.5, 1.0))
    assert columns["tur"] == pytest.approx(0.75 / columns["budget"]["U"])
    assert known.columns(Limits.of(0.5, sides="at most"))["tur"] is None


def test_repeats_tell_their_scatter(setup):
    once = uncertainty_of(setup, [a_reading("4.3", "12.000")])
    twice = uncertainty_of(setup, [a_reading("4.3", "12.000"), a_reading("4.3", "12.080", run=2)])
    assert twice.u[0] > 3 * once.u[0]
    assert twice.dof[0] < 3


def test_a_meter_certified_in_volts_is_one_over_the_loop_resistor(setup):
    """± (0.02 % + 0.5 mV) over 250 Ω is ± (0.02 % + 2 µA): as the meter in milliamperes."""
    meter = a_standard("MM-78", kind="multimeter")
    a_certificate(
        meter,
        unit="V",
        percent_of_reading=Decimal("0.02"),
        absolute=Decimal("0.0005"),
        resolution=Decimal("0.00025"),
        expanded_uncertainty=Decimal("0.0005"),
        coverage_factor=Decimal(2),
        percent_of_range=None,
    )
    other = Setup(setup.point, setup.transmitter, setup.way, [(meter, meter.certificates.get())])
    reading = [a_reading("8.3", "20.000")]
    assert uncertainty_of(other, reading).u == pytest.approx(
        uncertainty_of(setup, reading).u, rel=1e-9
    )


def test_an_indication_needs_no_meter(setup):
    uncertainty = uncertainty_of(setup, [a_reading("4.3", "12", indication=Decimal("4.3000"))])
    assert "meter specification" not in {c.name for c in uncertainty.components}
    assert "display" in {c.name for c in uncertainty.components}


@pytest.mark.parametrize(
    "way",
    [
        "simulated output",
        "wetted level by dip",
        "wetted level by gauge glass",
        "probe raised out of product",
        "capacitance substituted",
        "pressure applied",
        "target at known distance",
        "weights on hanger",
        "float moved along its rod",
    ],
)
def test_every_way_has_its_budget_even_without_a_certificate(setup, way):
    bare = Setup(setup.point, setup.transmitter, way, [])
    columns = uncertainty_of(
        bare, [a_reading("0.3", "4"), a_reading("4.3", "12"), a_reading("8.3", "20")]
    ).columns(Limits.of(1.0))
    assert 0 < columns["expanded_percent"] < 2
    assert all(np.isfinite(part["u"]) for part in columns["budget"]["components"])
    assert any(part["assumed"] for part in columns["budget"]["components"])


@pytest.mark.parametrize(
    ("rule", "error", "verdict"),
    [
        ("simple acceptance", 0.98, "pass"),
        ("guard band", 0.98, "inconclusive"),
        ("guard band", 1.02, "inconclusive"),
        ("guard band", 0.5, "pass"),
        ("guard band", 1.5, "fail"),
        ("limited risk", 0.98, "inconclusive"),
        ("limited risk", 0.5, "pass"),
        ("limited risk", 1.5, "fail"),
    ],
)
def test_the_rule_decides_and_a_doubtful_result_is_no_silent_pass(setup, rule, error, verdict):
    observed = Decimal(str(round(12 + 16 * error / 100, 4)))
    found = {"as it stands": [], "as found": [a_reading("4.3", str(observed))], "as left": []}
    judged, columns = judge_stages(
        found, Range(0.3, 8.3, "4-20mA", Limits.of(1.0)), setup, Policy(rule=rule)
    )
    assert judged["as found"].verdict == verdict
    assert columns["budget"]["rule"]["rule"] == rule


def test_a_record_keeps_its_rule_and_its_amendment_is_judged_by_it(technician, approver, planner):
    point = an_equipped_point()
    policy = Policy.objects.create(site=point.site, duty=point.duty, rule="guard band")
    record = an_approved_record(
        point, by=technician, approved_by=approver, found=[0.999] + [0.1] * 8
    )
    assert record.decision_rule == "guard band of 1 U"
    assert record.found_verdict == "inconclusive"
    assert not Finding.objects.exists()
    assert record.readings.filter(expanded_percent=None).count() == 0
    policy.rule = "simple acceptance"
    policy.save()
    receipt = records.amend(
        record,
        a_sent_record(found=[0.999] + [0.1] * 8),
        reason="note added",
        submission=uuid.uuid4(),
        by=planner,
        at=NOON,
    )
    assert receipt.record.decision_rule == "guard band of 1 U"


def test_the_record_shows_its_budget_and_the_approver_is_warned_of_a_low_ratio(
    technician, approver, sign_in
):
    point = an_equipped_point()
    Policy.objects.create(site=point.site, duty=point.duty, least_tur=9)
    Policy.objects.filter(site=point.site).update(least_tur=99.9)
    record = a_record(point, by=technician, standards=[a_certified_standard()])
    page = sign_in(approver).get(record.get_absolute_url()).content.decode()
    for shown in (
        "Measurement uncertainty",
        "Datum plate and bottom",
        "assumed",
        "Combined",
        "JCGM 100",
    ):
        assert shown in page
    decide = sign_in(approver).get(f"/records/{record.pk}/approve/").content.decode()
    assert "below the 99.9 to 1 required by the policy" in decide


def test_output_right_and_level_wrong_points_to_the_probe(technician, approver, sign_in):
    point = an_equipped_point()
    an_approved_record(
        point,
        by=technician,
        approved_by=approver,
        found=[0.02] * 9,
        way="simulated output",
        done_on=TODAY - dt.timedelta(8),
    )
    wetted = an_approved_record(point, by=technician, approved_by=approver, found=[0.9] * 9)
    page = sign_in(approver).get(wetted.get_absolute_url()).content.decode()
    assert "right on simulated output, wrong on wetted level" in page.lower()
    assert "Check that the output is not trimmed to correct it" in page


def test_storing_it_costs_fifteen_statements_at_most(technician, django_assert_max_num_queries):
    job = a_job(by=technician)
    sent = a_sent_record()
    with django_assert_max_num_queries(
        17
    ):  # fifteen, and the two that open and close the transaction
        records.submit(job, sent, submission=uuid.uuid4(), by=technician, at=NOON)
    assert Calibration.objects.get().budget["U"] > 0
    assert dt.date(2026, 11, 2) == TODAY
