"""Budgets against UNC-02 to UNC-09, and against GTC and draws by JCGM 101 as referees."""

import math

import numpy as np
import pytest
from GTC import ureal

from calibration.metrology.components import resistor_error
from calibration.metrology.input_components import wetted_by_dip
from calibration.metrology.two_levels import propagate, two_levels
from calibration.metrology.uncertainty import (
    PROBABILITY,
    Component,
    Shape,
    combine,
    coverage,
    scaled,
    student_factor,
)
from tests.published.reference import near, reference


def budget_of(name):
    """The components of a published table.

    Standard uncertainties, sensitivities, degrees of freedom.
    """
    inputs, _ = reference(name)
    return combine(
        [
            Component(
                row.get("name", str(i)),
                row["u"],
                Shape.RECTANGULAR if row.get("distribution") == "rectangular" else Shape.NORMAL,
                divisor=1.0,
                sensitivity=row["sensitivity"],
                dof=math.inf if row["dof"] == "inf" else row["dof"],
            )
            for i, row in enumerate(inputs["components"])
        ]
    )


def test_end_gauge_unc_02():
    _, expected = reference("UNC-02")
    more = expected["more_digits"]
    budget = budget_of("UNC-02")
    assert np.abs(budget.contributions) == near("UNC-02", more["component_nm"])
    assert budget.u == near("UNC-02", more["u_c"])
    assert budget.dof == near("UNC-02", more["nu_eff"])
    printed = expected["published"]
    assert round(budget.u) == printed["u_c_nm"]
    assert math.floor(budget.dof) == printed["nu_eff"]
    assert coverage(budget, probability=0.99).by == "degrees of freedom"
    # The source takes the next lower whole number of degrees of freedom.
    k = student_factor(math.floor(budget.dof), 0.99)
    assert k == near("UNC-02", more["t_995_at_16"])
    assert k * budget.u == near("UNC-02", more["U99"])
    assert round(k, 2) == printed["t99"]
    # It multiplies the rounded figures.
    assert round(round(k, 2) * round(budget.u)) == printed["U99_nm"]
    products = [Component("product", u) for u in more["second_order"]]
    second = combine([*budget.components, *products])
    assert second.u == near("UNC-02", more["u_c_second_order"])
    assert round(second.u) == expected["published"]["u_c_with_second_order_nm"]


def test_weight_unc_03():
    _, expected = reference("UNC-03")
    budget = budget_of("UNC-03")
    assert budget.u == near("UNC-03", expected["derived_here"]["u_mg"], digits=7)
    assert budget.dof == near("UNC-03", expected["derived_here"]["nu_eff"], digits=7)
    assert round(budget.u, 1) == expected["published"]["u_mg"]
    assert round(expected["published"]["k"] * budget.u) == expected["published"]["U_mg"]
    cover = coverage(budget, probability=0.9545)
    assert cover.k == near("UNC-03", expected["derived_here"]["k_95_45_at_nu"], digits=6)
    assert cover.expanded == near("UNC-03", expected["derived_here"]["U_with_that_k_mg"], digits=6)


def test_gauge_block_unc_04():
    _, expected = reference("UNC-04")
    budget = budget_of("UNC-04")
    assert budget.u * 1e9 == near("UNC-04", expected["derived_here"]["u_nm"], digits=7)
    assert budget.dof == near("UNC-04", expected["derived_here"]["nu_eff"], digits=5)
    # The source takes k = 2 for a normal; its rectangles ask for a little less.
    printed = expected["published"]
    assert round(budget.u * 1e9, 1) == printed["u_nm"]
    assert student_factor(math.inf) == pytest.approx(printed["k"], abs=1e-6)
    assert round(printed["k"] * budget.u * 1e9) == printed["U_nm"]
    assert share_inside("UNC-04", coverage(budget).expanded) == pytest.approx(PROBABILITY, abs=2e-3)


def test_thermocouple_unc_05():
    _, expected = reference("UNC-05")
    budget = budget_of("UNC-05")
    assert budget.u == near("UNC-05", expected["derived_here"]["u"], digits=7)
    assert budget.u == near("UNC-05", expected["published"]["u"])
    # The source takes k = 2 for a normal; a simulation needs 1.83.
    assert student_factor(math.inf) == pytest.approx(expected["published"]["k"], abs=1e-6)
    assert round(expected["published"]["k"] * budget.u, 1) == expected["published"]["U"]
    cover = coverage(budget)
    assert cover.k == pytest.approx(1.83, abs=0.005)
    assert share_inside("UNC-05", cover.expanded) == pytest.approx(PROBABILITY, abs=2e-3)


def share_inside(name: str, expanded: float, draws: int = 400_000) -> float:
    """The share of simulated sums within ± ``expanded``. Source: JCGM 101 (from memory)."""
    rng, whole = np.random.default_rng(101), np.zeros(draws)
    for row in reference(name)[0]["components"]:
        u = abs(row["sensitivity"]) * row["u"]
        if row.get("distribution") == "rectangular":
            whole += rng.uniform(-math.sqrt(3) * u, math.sqrt(3) * u, draws)
        else:
            whole += rng.normal(0, u, draws)
    return float(np.mean(np.abs(whole) <= expanded))


def test_calliper_with_two_dominant_rectangles_unc_06():
    _, expected = reference("UNC-06")
    budget = budget_of("UNC-06")
    assert budget.u == near("UNC-06", expected["derived_here"]["u_um"], digits=7)
    k = expected["derived_here"]["k_trapezoid_beta_one_third"]
    cover = coverage(budget, probability=0.95)
    assert cover.by == "two rectangular components"
    # The supplement leaves out the rest of 2 µm and rounds the edge; with both k is 1.840.
    assert cover.k == pytest.approx(k, abs=0.007)
    printed = expected["published"]
    assert round(cover.expanded / 1000, 2) == printed["U_mm"]
    assert round(budget.u) == printed["u_um"]
    assert cover.k == pytest.approx(printed["k"], abs=0.015)
    assert k * budget.u == near("UNC-06", expected["derived_here"]["U_um"], digits=5)
    resolution, mechanical = sorted(np.abs(budget.contributions))[-2:]
    edge = (mechanical - resolution) / (mechanical + resolution)
    assert edge == pytest.approx(printed["edge_parameter"], abs=0.015)


def test_factors_of_student_unc_07():
    _, expected = reference("UNC-07")
    for dof, *factors in expected["rows"]:
        known = math.inf if dof == "inf" else dof
        ours = [student_factor(known, p) for p in (0.95, 0.9545, 0.99)]
        assert ours == [pytest.approx(factor, abs=0.005001) for factor in factors]


def test_standard_uncertainty_from_bounds_unc_08():
    _, expected = reference("UNC-08")
    for shape, key in (
        (Shape.RECTANGULAR, "rectangular"),
        (Shape.TRIANGULAR, "triangular"),
        (Shape.U_SHAPED, "u_shaped"),
    ):
        assert Component("bounds", 1.0, shape).u == near("UNC-08", expected[key])
    # A trapezoid is the sum of two rectangles: its top is half as wide as its foot.
    trapezoid = combine([Component(str(a), a, Shape.RECTANGULAR) for a in (0.75, 0.25)])
    assert trapezoid.u == near("UNC-08", expected["trapezoid_top_half_width_beta_0_5"])
    step = Component("step", 0.5, Shape.RECTANGULAR)
    assert step.u == near("UNC-08", expected["resolution_step_1"])


def test_degrees_of_freedom_of_an_interpolated_point_unc_09():
    inputs, expected = reference("UNC-09")
    line = [
        Component(str(x), inputs["u_y"], sensitivity=weight, dof=inputs["dof_each"])
        for x, weight in zip(inputs["x"], (0, 1 / 3, 2 / 3), strict=True)
    ]
    budget = combine(line)
    assert budget.u == near("UNC-09", expected["u"])
    assert budget.dof == near("UNC-09", expected["dof"])


def test_gtc_agrees_on_made_up_budgets():
    rng = np.random.default_rng(11)
    for _ in range(20):
        u, c = rng.uniform(0.1, 3, 5), rng.normal(0, 2, 5)
        dof = rng.integers(2, 40, 5).astype(float)
        ours = combine([Component(str(i), u[i], sensitivity=c[i], dof=dof[i]) for i in range(5)])
        theirs = sum(c[i] * ureal(1.0, u[i], dof[i]) for i in range(5))
        assert ours.u == pytest.approx(theirs.u, rel=1e-12)
        assert ours.dof == pytest.approx(theirs.df, rel=1e-10)


DRAWS = 400_000
KINDS = {
    "several of a size": [("R", 1.0), ("R", 0.8), ("T", 1.0), ("U", 0.5), ("N", 0.5)],
    "one rectangle rules": [("R", 1.0), ("N", 0.1), ("T", 0.15)],
    "one rectangle alone": [("R", 1.0)],
    "two rectangles rule": [("R", 1.0), ("R", 0.7), ("N", 0.1)],
}


@pytest.mark.parametrize("kind", KINDS)
def test_interval_covers_what_it_says_by_draws(kind):
    """Referee by JCGM 101.

    The interval must hold its share of draws, and no more than 3 % above it.
    """
    rng = np.random.default_rng(101)
    draw = {
        "R": lambda a: rng.uniform(-a, a, DRAWS),
        "T": lambda a: rng.triangular(-a, 0, a, DRAWS),
        "U": lambda a: a * np.sin(rng.uniform(0, 2 * np.pi, DRAWS)),
        "N": lambda u: rng.normal(0, u, DRAWS),
    }
    shapes = {
        "R": Shape.RECTANGULAR,
        "T": Shape.TRIANGULAR,
        "U": Shape.U_SHAPED,
        "N": Shape.NORMAL,
    }
    total = sum(draw[s](a) for s, a in KINDS[kind])
    budget = combine([Component(str(i), a, shapes[s]) for i, (s, a) in enumerate(KINDS[kind])])
    covered = np.mean(np.abs(total) <= coverage(budget).expanded)
    assert PROBABILITY - 0.003 < covered < PROBABILITY + 0.03


@pytest.mark.parametrize(("repeats", "rest"), [(3, 0.4), (3, 1.0), (5, 0.7), (10, 0.2)])
def test_interval_from_few_repeats_covers_what_it_says(repeats, rest):
    """Each draw measures anew: its own readings, its own budget. One fleet of 100,000."""
    rng = np.random.default_rng(102)
    readings = rng.normal(0, 1, (100_000, repeats))
    error = readings.mean(axis=1) + rng.uniform(-rest, rest, 100_000) + rng.normal(0, rest, 100_000)
    u = readings.std(axis=1, ddof=1) / math.sqrt(repeats)
    budget = combine(
        [
            Component("repeats", u, Shape.TYPE_A, dof=repeats - 1),
            Component("rectangle", rest, Shape.RECTANGULAR),
            Component("normal", rest),
        ]
    )
    covered = np.mean(np.abs(error) <= coverage(budget).expanded)
    # Welch–Satterthwaite is an approximation: two in a hundred are its known size for two degrees
    # of freedom.
    assert PROBABILITY - 0.015 < covered < PROBABILITY + 0.02


def test_resistor_that_is_not_quite_250_ohm_trd_02():
    inputs, expected = reference("TRD-02")
    ohms = {"marked": 250.0, "true": inputs["true_ohm"]}
    for current, error in expected["error_pct_span_of_wrong_ohm"]:
        read = current * inputs["true_ohm"] / 250
        assert 100 * resistor_error(read, **ohms) / 16 == near("TRD-02", error)


def two_levels_of_trd_03():
    inputs, expected = reference("TRD-03")
    seen = two_levels(
        inputs["level_m"], inputs["current_mA"], lower=inputs["LRV_m"], upper=inputs["URV_m"]
    )
    return seen, expected


def test_two_known_levels_trd_03():
    seen, expected = two_levels_of_trd_03()
    assert seen.slope == near("TRD-03", expected["slope_mA_per_m"])
    assert seen.zero == near("TRD-03", expected["zero_mA"])
    assert seen.span_end == near("TRD-03", expected["span_end_mA"])
    assert round(seen.zero_error, 4) == expected["zero_error_pct_span"]
    assert round(seen.span_end_error, 4) == expected["span_end_error_pct_span"]


def test_uncertainty_of_two_known_levels_trd_04():
    seen, _ = two_levels_of_trd_03()
    inputs, expected = reference("TRD-04")
    own = [
        Component("current", inputs["u_current_mA"]),
        *scaled([Component("level", inputs["u_level_mm"])], 16 / 8000),
    ]
    assert combine(own).u == near("TRD-04", expected["u_per_level_mA"])
    assert seen.weights_at(0.3) == near("TRD-04", tuple(expected["weights_at_zero"]))
    assert seen.gain_at_zero == near("TRD-04", expected["factor_at_zero"], digits=6)
    assert seen.gain_at_span_end == near("TRD-04", expected["factor_at_span_end"], digits=6)
    for level, end in ((0.3, "zero"), (8.3, "span_end")):
        (u,) = combine(propagate(own, [seen.weights_at(level)])).u
        assert u == near("TRD-04", expected[f"u_{end}_mA"])
        assert u * 8000 / 16 == near("TRD-04", expected[f"u_{end}_mm"], digits=4)


def test_default_dip_trd_10():
    inputs, expected = reference("TRD-10")
    budget = combine(wetted_by_dip(inputs["level_m"]))
    assert [round(float(part), 2) for part in budget.contributions] == expected["parts_mm"]
    assert round(budget.u, 2) == expected["u_mm"]
    assert round(2 * budget.u, 1) == expected["U_k2_mm"]
    assert round(coverage(budget).expanded, 1) == expected["U_k2_mm"]
