"""When the chance of passing first falls below what is asked."""

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.verdicts import KINDS, Plant, Story

N = 400
LOW, HIGH = 0.25, 5.0


def passing_of(kind):
    rng = np.random.default_rng(11)
    story = Story(Plant(KINDS[kind], N, rng))
    for _ in range(4):
        story.visit(rng.uniform(0.3, 2.0, N))
    return story.passing(story.outlooks())


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("asked", [0.8, 0.9, 0.95, 0.99])
def test_at_the_time_found_the_chance_is_what_was_asked(kind, asked):
    of = passing_of(kind)
    found = of.first_below(asked, LOW, HIGH)
    falls = found.reached & ~found.capped
    assert falls.sum() > N / 4
    chance = of.chance(found.years)
    inside = falls & (found.years > LOW) & (found.years < HIGH)
    assert chance[inside] == pytest.approx(asked, abs=0.003)
    assert np.mean(np.abs(chance[inside] - asked)) < 0.0005
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):  # and not before
        before = of.chance(LOW + share * (found.years - LOW))
        assert (before[falls] > asked - 0.003).all()


@pytest.mark.parametrize("kind", KINDS)
def test_what_lies_below_at_once_and_what_never_falls_is_said(kind):
    of = passing_of(kind)
    low, high = np.where(np.arange(N) % 2, LOW, 3.0), np.where(np.arange(N) % 2, 0.5, HIGH)
    found = of.first_below(0.9, low, high)
    assert (~found.reached).any()
    assert found.capped.any()
    assert (of.chance(low)[~found.reached] < 0.9).all()
    assert (of.chance(high)[found.capped] >= 0.9).all()
    assert (found.years[~found.reached] == low[~found.reached]).all()
    assert (found.years[found.capped] == high[found.capped]).all()


@pytest.mark.parametrize("kind", KINDS)
def test_a_chance_that_falls_does_not_rise_between(kind):
    """By no more than 0.002, where one way of working it out gives way to the other."""
    of = passing_of(kind)
    years = np.linspace(2.0, 6.0, 200)
    course = np.array([of.chance(year) for year in years])
    top = np.maximum.accumulate(course[::-1], axis=0)[::-1]  # highest from then on
    falls = np.abs(np.diff(course, axis=0)).max(axis=0) > 0
    assert falls.all()
    first = course.argmax(axis=0)
    after = np.arange(len(years))[:, None] >= first
    assert (top - course)[after].max() < 0.002


def test_each_may_ask_its_own_chance():
    of = passing_of("smooth")
    asked = np.where(np.arange(N) % 2, 0.8, 0.95)
    found = of.first_below(asked, LOW, HIGH)
    one = of.first_below(0.8, LOW, HIGH)
    assert found.years[1::2] == pytest.approx(one.years[1::2], abs=1e-9)
    assert (found.years <= one.years + 1e-9).all()


def test_of_no_transmitters_there_is_nothing_to_find():
    none = passing_of("smooth").columns(slice(0, 0))
    assert none.chance(1.0).shape == (0,)
    assert none.first_below(0.9, LOW, HIGH).years.shape == (0,)


def test_an_end_that_was_last_seen_earlier_has_drifted_longer():
    of = passing_of("smooth")
    both = replace(of, gone=np.full((2, N), 0.5))
    assert both.chance(1.0) == pytest.approx(of.chance(1.5), abs=1e-12)
    for end in (0, 1):
        gone = np.zeros((2, N))
        gone[end] = 0.5
        one = replace(of, gone=gone)
        other = replace(of, gone=0.5 - gone)
        assert not np.allclose(one.chance(1.0), of.chance(1.0), atol=1e-3)
        assert not np.allclose(one.chance(1.0), other.chance(1.0), atol=1e-3)
        ahead = one._test(np.ones(N))
        assert ahead.zero == pytest.approx(of.zero.at(1.0 + gone[0])[0])
        assert ahead.span == pytest.approx(of.span.at(1.0 + gone[1])[0])
