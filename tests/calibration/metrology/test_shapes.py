"""What readings keep when the line between zero and span is taken out."""

import numpy as np
import pytest

from calibration.metrology.shapes import (
    AT,
    POSITIONS,
    alone,
    fit_shapes,
    own_tests,
    shape_of,
    shapes_of,
)
from plant.level.checks import BadArgument

BEND = 0.1 * 4 * AT * (1 - AT)


def bent_family(rng, members=300, visits=4, *, between=0.08, scatter=0.03):
    """Members bent alike, each in its own way besides, one test a visit."""
    own = BEND[:, None] + between * rng.normal(size=(POSITIONS, members))
    own[[0, 4, 8]] = 0
    noise = rng.normal(0, scatter, (POSITIONS, members * visits))
    zero, span = (noise[0] + noise[8]) / 2, noise[4]
    owner = np.repeat(np.arange(members), visits)
    x = AT[:, None]
    return own, own[:, owner] + noise - (1 - x) * zero - x * span, owner


def test_the_line_between_the_ends_leaves_no_shape():
    percent = 100 * AT
    rising = np.arange(POSITIONS) <= 4
    line = 0.3 - 0.5 * AT
    assert shape_of(percent, line, rising, zero=0.3, span=-0.2) == pytest.approx(0, abs=1e-12)


def test_rising_and_falling_readings_keep_positions_of_their_own():
    found = shape_of([26, 24, 74], [0.2, 0.4, -0.1], [True, True, False], zero=0, span=0)
    assert found[1] == pytest.approx(0.3)
    assert found[5] == pytest.approx(-0.1)
    assert np.isnan(found).sum() == POSITIONS - 2


def test_a_reversed_order_of_readings_changes_nothing():
    at, errors, rising = np.array([0, 50, 100, 50]), np.array([0, 0.3, 0.1, 0.2]), [1, 1, 1, 0]
    forward = shape_of(at, errors, rising, zero=0, span=0.1)
    backward = shape_of(at[::-1], errors[::-1], rising[::-1], zero=0, span=0.1)
    assert np.array_equal(forward, backward, equal_nan=True)


def test_a_family_shows_its_mean_shape_and_both_variances():
    _, shapes, owner = bent_family(np.random.default_rng(1))
    own = own_tests(shapes, np.ones(owner.size), owner, 300)
    family = fit_shapes(own, np.zeros(300, dtype=int), [0.5])
    assert family.mean[:, 0] == pytest.approx(BEND, abs=0.02)
    assert np.sqrt(family.between[2, 0]) == pytest.approx(0.08, rel=0.15)
    assert np.sqrt(shapes_of(own, family.of(np.zeros(300, int))).scatter[0]) == pytest.approx(
        0.03, rel=0.1
    )
    assert family.members[0] == 300


def test_own_tests_and_family_together_are_nearer_than_either():
    truth, shapes, owner = bent_family(
        np.random.default_rng(2), between=0.03, scatter=0.05, visits=2
    )
    own = own_tests(shapes, np.ones(owner.size), owner, 300)
    family = fit_shapes(own, np.zeros(300, dtype=int), [0.5]).of(np.zeros(300, dtype=int))

    def miss(guess):
        return np.sqrt(((guess - truth)[1:4] ** 2).mean())

    together = miss(shapes_of(own, family).mean)
    assert together < miss(own.mean)
    assert together < miss(family.mean)


def test_the_stated_variance_is_that_of_the_misses():
    truth, shapes, owner = bent_family(np.random.default_rng(3))
    own = own_tests(shapes, np.ones(owner.size), owner, 300)
    known = shapes_of(own, fit_shapes(own, np.zeros(300, int), [0.5]).of(np.zeros(300, int)))
    square = ((known.mean - truth)[1:4] ** 2).mean()
    assert square == pytest.approx(known.variance[1:4].mean(), rel=0.2)


def test_one_that_was_never_tested_has_its_familys_shape():
    _, shapes, owner = bent_family(np.random.default_rng(4))
    own = own_tests(shapes, np.ones(owner.size), owner, 301)
    family = fit_shapes(own, np.zeros(301, int), [0.5]).of(np.zeros(301, int))
    known = shapes_of(own, family)
    assert known.mean[1:8, 300] == pytest.approx(family.mean[1:8, 300])
    assert known.variance[2, 300] == pytest.approx(family.between[2, 300], rel=1e-6)
    assert np.flatnonzero(known.read[:, 300]).tolist() == [0, 4]


def test_without_a_family_the_shape_is_wide():
    own = own_tests(np.empty((POSITIONS, 0)), [], [], 1)
    known = shapes_of(own, alone([0.8]))
    assert np.sqrt(known.variance[2, 0]) == pytest.approx(0.1, rel=1e-6)


def test_the_last_test_says_what_the_next_will_read():
    first, last = np.zeros(POSITIONS), np.where(AT == 0.5, np.nan, 0.0)
    own = own_tests(np.column_stack([first, last]), [1, 1], [0, 0], 1)
    assert own.read[:, 0].tolist() == (AT != 0.5).tolist()


@pytest.mark.parametrize(
    ("act", "argument"),
    [
        (lambda: shape_of([0], [0, 1], [True], zero=0, span=0), "errors"),
        (lambda: shape_of([0], [0], [True], zero=np.nan, span=0), "zero"),
        (lambda: shape_of([np.inf], [0], [True], zero=0, span=0), "percent"),
        (lambda: own_tests(np.zeros((8, 1)), [1], [0], 1), "shapes"),
        (lambda: alone([0.0]), "tolerance"),
    ],
)
def test_what_is_no_test_is_refused_by_name(act, argument):
    with pytest.raises(BadArgument) as refusal:
        act()
    assert refusal.value.argument == argument
