import math

import numpy as np
import pytest

from calibration.metrology.uncertainty import (
    PROBABILITY,
    Component,
    Shape,
    combine,
    coverage,
    scaled,
    student_factor,
)

R = Shape.RECTANGULAR


def test_contributions_keep_their_sign_and_shares_make_one():
    budget = combine([Component("a", 3.0, sensitivity=-1), Component("b", 2.0, sensitivity=2)])
    assert budget.contributions.tolist() == [-3.0, 4.0]
    assert budget.u == 5.0
    assert budget.shares.tolist() == pytest.approx([0.36, 0.64])


def test_certificate_is_divided_by_its_own_k():
    assert Component("certificate", 0.006, divisor=2.0).u == 0.003


def test_fleet_is_combined_as_each_of_it_alone():
    rng = np.random.default_rng(4)
    a, n = rng.uniform(0, 2, 100), rng.uniform(0, 1, 100)
    b, dof = rng.uniform(0, 2, 100), rng.uniform(1, 30, 100)

    def parts(i):
        return [
            Component("a", a[i], R),
            Component("b", b[i], R),
            Component("n", n[i], dof=dof[i]),
            Component("same for all", 0.05),
        ]

    fleet = coverage(combine(parts(slice(None))))
    one_by_one = [coverage(combine(parts(i))) for i in range(100)]
    assert fleet.k.tolist() == pytest.approx([one.k for one in one_by_one], rel=1e-12)
    assert fleet.expanded.tolist() == pytest.approx([one.expanded for one in one_by_one], rel=1e-12)
    assert fleet.by.tolist() == [one.by for one in one_by_one]
    assert len(set(fleet.by)) == 4


def test_one_rectangle_alone_has_the_factor_of_its_share():
    assert coverage(combine([Component("a", 1.0, R)]), probability=0.95).k == pytest.approx(
        0.95 * math.sqrt(3), rel=1e-6
    )


def test_two_rectangles_alone_have_the_factor_of_a_trapezoid():
    cover = coverage(combine([Component("a", 2.0, R), Component("b", 1.0, R)]), probability=0.95)
    # Half-widths 2 and 1: β = 1/3, on the slopes of the trapezoid (EA-4/02 S10.13).
    beta = 1 / 3
    k = (1 - math.sqrt(0.05 * (1 - beta**2))) / math.sqrt((1 + beta**2) / 6)
    assert cover.k == pytest.approx(k, rel=1e-6)


@pytest.mark.parametrize(
    ("rectangles", "normals"),
    [
        ([1.0, 1.0, 1.0], []),
        ([1.0, 0.8, 0.6, 0.5], []),
        ([1.0] * 6, []),
        ([1.0], [0.2]),
        ([1.0], [0.6]),
        ([1.0, 0.5], [0.4, 0.1]),
        ([1.0, 0.9, 0.2], [2.0]),
    ],
)
def test_the_interval_holds_what_a_simulation_draws_whatever_the_shares(rectangles, normals):
    rng, n = np.random.default_rng(7), 400_000
    drawn = sum(rng.uniform(-half, half, n) for half in rectangles)
    drawn = drawn + sum((rng.normal(0, u, n) for u in normals), np.zeros(n))
    parts = [Component(f"r{i}", half, R) for i, half in enumerate(rectangles)]
    cover = coverage(combine([*parts, *(Component(f"n{i}", u) for i, u in enumerate(normals))]))
    assert np.mean(np.abs(drawn) <= cover.expanded) == pytest.approx(PROBABILITY, abs=2.5e-3)
    assert cover.k <= 2.0 + 1e-9


def test_k_has_no_step_where_a_rectangle_stops_to_dominate():
    rests = np.linspace(0.01, 4.0, 400)
    cover = coverage(combine([Component("a", 1.0, R), Component("rest", rests)]))
    assert np.abs(np.diff(cover.k)).max() < 0.02
    assert ((cover.k > 1.65) & (cover.k <= 2.0)).all()
    assert cover.by[0] == "one rectangular component"
    assert cover.by[80] == "rectangular components and the rest"
    assert cover.by[-1] == "degrees of freedom"


def test_a_rest_from_few_repeats_counts_as_a_normal_wider_by_student_s_factor():
    """Beside a rectangle that dominates: 3 repeats widen their own part, and nothing else."""
    rectangle, few = Component("a", 1.0, R), Component("repeats", 0.04, dof=2)
    wider = student_factor(2) / student_factor(math.inf)
    widened = Component("as if known", 0.04 * wider)
    limited, known = (coverage(combine([rectangle, rest])) for rest in (few, widened))
    assert limited.by == known.by == "one rectangular component"
    assert limited.expanded == pytest.approx(known.expanded, rel=1e-9)
    many = coverage(combine([rectangle, Component("repeats", 0.04)]))
    assert limited.expanded > 1.01 * many.expanded


def test_component_of_nothing_limits_no_degrees_of_freedom():
    budget = combine([Component("a", 1.0), Component("none", 0.0, dof=1)])
    assert budget.dof == math.inf
    assert coverage(budget).k == pytest.approx(2.0)


def test_budget_of_zeros_has_no_width_and_shares_of_zero():
    budget = combine([Component("a", 0.0)])
    assert (budget.u, budget.shares.tolist(), coverage(budget).expanded) == (0.0, [0.0], 0.0)


def test_scaling_changes_the_unit_of_the_result():
    mm = [Component("tape", 2.0, sensitivity=1.0), Component("datum", 1.0)]
    assert combine(scaled(mm, 100 / 8000)).u == pytest.approx(combine(mm).u / 80)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"value": -0.1}, "value of “a”"),
        ({"value": math.nan}, "value of “a”"),
        ({"value": [0.1, math.inf]}, "value of “a”"),
        ({"value": 1.0, "divisor": 0.0}, "divisor of “a”"),
        ({"value": 1.0, "divisor": math.nan}, "divisor of “a”"),
        ({"value": 1.0, "sensitivity": math.nan}, "sensitivity of “a”"),
        ({"value": 1.0, "dof": 0.0}, "dof of “a”"),
        ({"value": 1.0, "dof": math.nan}, "dof of “a”"),
    ],
)
def test_component_that_cannot_be_is_refused_by_name(wrong, named):
    with pytest.raises(ValueError, match=named):
        Component("a", **wrong)


def test_empty_budget_is_refused():
    with pytest.raises(ValueError, match="components: the budget is empty"):
        combine([])


def test_arrays_that_do_not_fit_are_refused_with_their_shapes():
    with pytest.raises(ValueError, match=r"“b” \(3,\)"):
        combine([Component("a", [1.0, 2.0]), Component("b", [1.0, 2.0, 3.0])])


@pytest.mark.parametrize("probability", [0.0, 1.0, 95, math.nan])
def test_probability_outside_nought_to_one_is_refused(probability):
    with pytest.raises(ValueError, match="probability"):
        coverage(combine([Component("a", 1.0)]), probability=probability)
    with pytest.raises(ValueError, match="probability"):
        student_factor(5, probability)


def test_default_probability_is_that_of_k_2():
    assert student_factor(math.inf) == pytest.approx(2.0, abs=1e-12)
    assert pytest.approx(0.9545, abs=1e-6) == PROBABILITY
