"""Chances of passing from neighbour to neighbour, and two readings at one place taken as one."""

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal

from calibration.metrology.neighbours import both_above, by_neighbours
from calibration.metrology.next_test import NextTest, Readings
from calibration.metrology.shapes import AT
from tests.calibration.metrology.test_verdict import by_a_fine_grid, scattered_fleet


@pytest.mark.parametrize("correlation", [0.0, 0.15, 0.5, 0.8, 0.95, 0.999])
def test_two_normals_lie_above_their_limits_as_often_as_the_exact_integral_says(correlation):
    rng = np.random.default_rng(5)
    h, k = rng.uniform(0.5, 3.0, (2, 200))
    exact = [
        multivariate_normal([0, 0], [[1, correlation], [correlation, 1]]).cdf([-a, -b])
        for a, b in zip(h, k, strict=True)
    ]
    known = both_above(h, k, np.full(200, correlation))
    assert known == pytest.approx(exact, abs=0.004)


def next_test_of(scatter, spread=1.0):
    means, variances, shape, noise, limits = scattered_fleet(scatter)
    fleet = means * spread, variances, shape, noise, limits
    readings = Readings(AT, shape, noise, limits).by_place()
    return NextTest(*fleet[0], *variances, readings), by_a_fine_grid(*fleet)


@pytest.mark.parametrize("scatter", [0.03, 0.08, 0.15])
def test_where_few_fail_neighbours_say_what_a_fine_grid_says(scatter):
    test, fine = next_test_of(scatter, spread=0.5)
    off = by_neighbours(test) - fine
    assert np.abs(off[fine > 0.9]).max() < 0.005
    assert abs(off[fine > 0.9].mean()) < 0.001
    assert np.abs(off).max() < 0.08


def test_two_readings_at_a_place_are_as_one_whose_error_is_the_larger():
    """Against the product of both, over the error that they share."""
    shared = np.linspace(-4, 4, 4001) * 0.3
    weight = np.exp(-((shared / 0.3) ** 2) / 2)
    shape, sd = np.array([[0.2], [-0.1]]), np.array([[0.12], [0.18]])
    each = ndtr((1 - shared - shape) / sd) - ndtr((-1 - shared - shape) / sd)
    both = np.prod(each, axis=0)
    one = Readings(np.zeros(2), shape, sd**2, np.ones((2, 1))).by_place()
    room = [(one.limit - side * (shared + one.shape[0])) / np.sqrt(one.variance) for side in (1, -1)]  # fmt: skip
    inside = ndtr(room[0]) + ndtr(room[1]) - 1
    expected = (both * weight).sum() / weight.sum()
    assert len(one.at) == 1
    assert (inside * weight).sum() / weight.sum() == pytest.approx(expected, abs=1e-3)


def test_a_place_that_is_read_once_keeps_that_reading():
    limit = np.array([[1.0, np.inf], [np.inf, np.inf]])
    one = Readings(np.zeros(2), np.full((2, 2), 0.3), np.full((2, 2), 0.04), limit).by_place()
    assert one.limit.tolist() == [[1.0, np.inf]]
    assert one.shape[0] == pytest.approx([0.3, 0.0])
    assert one.variance[0] == pytest.approx([0.04, 0.04])


def test_the_neighbour_of_a_reading_is_the_one_before_it_that_is_taken():
    means, variances, *columns = scattered_fleet(0.08)
    shape, noise, limits = (column[:5] for column in columns)
    taken = [0, 3, 4]
    is_taken = np.isin(np.arange(5), taken)[:, None]
    whole = Readings(AT[:5], shape, noise, np.where(is_taken, limits, np.inf))
    few = Readings(AT[taken], shape[taken], noise[taken], limits[taken])
    chances = (by_neighbours(NextTest(*means, *variances, each)) for each in (whole, few))
    assert next(chances) == pytest.approx(next(chances), abs=1e-9)
