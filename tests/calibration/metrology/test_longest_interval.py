"""How the longest interval is found: its bounds, its start, and how little work it takes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from calibration.metrology.course import Course
from calibration.metrology.longest_interval import _OneNormal, longest
from calibration.metrology.wander import Outlook, default_prior, outlook
from tests.bench.truths import TRUTHS, simulate

TOLERANCE, U, TARGET = 0.5, 0.05, 0.95


@pytest.fixture(scope="module")
def fleet() -> Outlook:
    drawn = simulate(TRUTHS["half and half"], 300, 8, np.random.default_rng(1))
    return outlook(drawn.first(8), default_prior(TOLERANCE))


def test_an_upper_bound_decides_where_it_comes_before_the_fall_and_not_after(fleet):
    free = longest(fleet, TOLERANCE, U, upper=20.0)
    for place in np.flatnonzero(free.reached & ~free.capped & (free.years > 1))[:12]:
        one, falls = fleet.columns([place]), free.years[place]
        before = longest(one, TOLERANCE, U, upper=0.999 * falls)
        assert (before.capped[0], before.years[0]) == (True, 0.999 * falls)
        after = longest(one, TOLERANCE, U, upper=1.001 * falls)
        assert (after.capped[0], after.years[0]) == (False, pytest.approx(falls, rel=1e-6))


def test_the_search_starts_where_one_normal_of_the_same_mean_and_variance_falls(fleet):
    """To a hundredth of the time, but for one in a hundred that falls, rises and falls again."""
    every = np.ones(len(fleet))
    normal = _OneNormal(fleet.moments.read_with(U), TOLERANCE * every)
    start = normal.first_below(TARGET, np.geomspace(0.25, 5.0, 16))
    falls = ~np.isnan(start)
    assert falls.sum() > 200

    def inside(years: np.ndarray) -> np.ndarray:
        band = fleet.columns(falls).next_as_found(years, U)
        low, high = ((end - band.centre) / band.sd for end in (-TOLERANCE, TOLERANCE))
        return ndtr(high) - ndtr(low)

    assert (inside(0.993 * start[falls]) >= TARGET).mean() >= 0.99
    assert (inside(1.007 * start[falls]) < TARGET).mean() >= 0.99


def test_an_interval_takes_few_looks_at_the_mixture(fleet, monkeypatch):
    """Some three an instrument, where the certain way takes two hundred: a fleet is done at
    night.
    """
    looks = []
    parts = Outlook.parts

    def counted(of, ahead):
        looks.append(np.broadcast(np.empty(len(of)), np.asarray(ahead)).size)
        return parts(of, ahead)

    monkeypatch.setattr(Outlook, "parts", counted)
    longest(fleet, TOLERANCE, U)
    assert sum(looks) < 5 * len(fleet)


def test_what_lies_far_outside_on_either_side_reaches_no_target(fleet):
    for side in (5.0, -5.0):
        far = replace(fleet, levels=fleet.levels + side)
        found = longest(far, TOLERANCE, U)
        assert not found.reached.any()
        assert (found.years == 0.25).all()


def test_slope_and_bend_of_the_course_are_its_differences(fleet):
    every = np.ones(len(fleet))
    half, u, years, step = TOLERANCE * every, U * every, 1.5 * every, 1e-4
    before, now, after = (Course.of(fleet, years + k * step, half, u) for k in (-1, 0, 1))
    assert now.inside == pytest.approx(fleet.probability_in(years, half, u), abs=1e-12)
    assert now.slope == pytest.approx((after.inside - before.inside) / (2 * step), abs=1e-6)
    assert now.bend == pytest.approx((after.slope - before.slope) / (2 * step), abs=1e-6)


@pytest.mark.parametrize("target", [0.3, 0.5, 0.8, 0.95, 0.99])
def test_at_the_longest_interval_the_mixture_has_the_target(fleet, target):
    found = longest(fleet, TOLERANCE, U, target=target, lower=0.05, upper=20.0)
    inside = fleet.probability_in(found.years, TOLERANCE, U)
    falls = found.reached & ~found.capped
    assert falls.mean() > 0.5
    assert inside[falls] == pytest.approx(target, abs=1e-8)
    assert (inside[found.capped] >= target).all()
    assert (inside[~found.reached] < target).all()
