"""Decision rules: DEC-01 to DEC-03, DEC-05 and DEC-07.

Referees: scipy's bivariate normal, and plain integration.
"""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from calibration.metrology.decision import (
    acceptance_limit,
    conformance_probability,
    global_risks,
    guard_for_risk,
)
from tests.published.reference import near, reference


def test_one_upper_limit_dec_01():
    inputs, expected = reference("DEC-01")
    inside = conformance_probability(
        inputs["measured_V"], inputs["u_V"], upper=inputs["upper_limit_V"]
    )
    assert inside == near("DEC-01", expected["pc"])
    assert round(float(inside), 2) == expected["published_pc"]


def test_one_lower_limit_dec_02():
    inputs, expected = reference("DEC-02")
    inside = conformance_probability(
        inputs["measured_kPa"], inputs["u_kPa"], lower=inputs["lower_limit_kPa"]
    )
    assert inside == near("DEC-02", expected["pc"])
    assert round(float(inside), 2) == expected["published_pc"]


def test_risk_at_the_acceptance_limit_dec_03():
    _, expected = reference("DEC-03")
    tolerance, u = 100.0, 1.0
    for row in expected["rows"]:
        guard = row["r"] * 2 * u
        if guard >= 0:
            limit = acceptance_limit(tolerance, guard)
            inside = conformance_probability(limit, u, upper=tolerance)
            assert 1 - inside == pytest.approx(row["risk"], rel=2e-7, abs=0)
        else:
            inside = conformance_probability(tolerance - guard, u, upper=tolerance)
            assert inside == near("DEC-03", row["risk_of_wrong_rejection"])
    assert guard_for_risk(u, 0.048457226) == near("DEC-03", 0.83 * 2 * u, digits=7)


def test_false_accept_and_false_reject_dec_05():
    _, expected = reference("DEC-05")
    rows = expected["rows"]
    inside = np.array([row["in_tolerance"] for row in rows])
    ratio = np.array([row["TUR"] for row in rows])
    spread = 1 / stats.norm.ppf((1 + inside) / 2)
    risks = global_risks(1.0, 1 / (2 * ratio), spread)
    assert risks.consumer == near("DEC-05", [row["PFA"] for row in rows])
    assert risks.producer == near("DEC-05", [row["PFR"] for row in rows])
    assert risks.in_tolerance == pytest.approx(inside, rel=1e-12)


def test_risks_of_a_resistor_line_dec_07():
    inputs, expected = reference("DEC-07")
    rows = expected["rows"]
    risks = global_risks(
        inputs["tolerance_half_width_ohm"],
        inputs["u_m_ohm"],
        inputs["population_sd_ohm"],
        guard=[row["guard_band_ohm"] for row in rows],
    )
    assert risks.consumer == near("DEC-07", [row["consumer_risk"] for row in rows])
    assert risks.producer == near("DEC-07", [row["producer_risk"] for row in rows])
    assert risks.in_tolerance == near("DEC-07", inputs["in_tolerance_fraction"], digits=7)


@pytest.mark.parametrize(
    ("tolerance", "u", "spread", "mean", "guard"),
    [(1.0, 0.25, 0.5, 0.0, 0.0), (1.0, 0.1, 0.4, 0.3, 0.2), (0.25, 0.05, 0.2, -0.25, 0.05)],
)
def test_plain_integration_agrees_off_centre_too(tolerance, u, spread, mean, guard):
    low, high = -tolerance + guard, tolerance - guard

    def accepted(x):
        return stats.norm.cdf(high, x, u) - stats.norm.cdf(low, x, u)

    def density(x):
        return stats.norm.pdf(x, mean, spread)

    outside = sum(
        integrate.quad(lambda x: density(x) * accepted(x), a, b, epsabs=1e-13)[0]
        for a, b in ((mean - 12 * spread, -tolerance), (tolerance, mean + 12 * spread))
    )
    inside = integrate.quad(
        lambda x: density(x) * (1 - accepted(x)), -tolerance, tolerance, epsabs=1e-13
    )[0]
    risks = global_risks(tolerance, u, spread, mean=mean, guard=guard)
    assert float(risks.consumer) == pytest.approx(outside, abs=1e-11)
    assert float(risks.producer) == pytest.approx(inside, abs=1e-11)


def test_bivariate_normal_agrees_on_the_share_accepted_and_inside():
    tolerance, u, spread, mean = 1.0, 0.3, 0.6, 0.2
    covariance = [[spread**2, spread**2], [spread**2, spread**2 + u**2]]
    both = stats.multivariate_normal([mean, mean], covariance).cdf(
        [tolerance, tolerance], lower_limit=[-tolerance, -tolerance]
    )
    risks = global_risks(tolerance, u, spread, mean=mean)
    assert float(risks.accepted - risks.consumer) == pytest.approx(float(both), abs=1e-5)
    assert float(risks.in_tolerance - risks.producer) == pytest.approx(float(both), abs=1e-5)


def test_student_agrees_where_repeats_are_few():
    inside = conformance_probability(0.3, 0.1, lower=-0.5, upper=0.5, dof=4)
    assert inside == pytest.approx(stats.t.cdf(2, 4) - stats.t.cdf(-8, 4), rel=1e-12)
    assert math.isclose(
        conformance_probability(0.3, 0.1, upper=0.5), stats.norm.cdf(2), rel_tol=1e-12
    )
