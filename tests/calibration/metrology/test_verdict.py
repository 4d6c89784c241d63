"""The chance that every reading of the next as found is within its limit."""

import numpy as np
import pytest
from scipy.special import ndtr

from calibration.metrology.next_test import TOGETHER
from calibration.metrology.shapes import AT
from calibration.metrology.verdict import probability_of_pass
from plant.level.checks import BadArgument

N = 60


def scattered_fleet(scatter):
    rng = np.random.default_rng(7)
    means = rng.normal(0, 0.4, (2, N))
    variances = rng.uniform(0.1, 0.4, (2, N)) ** 2
    shape = rng.normal(0, 0.1, (len(AT), N))
    return means, variances, shape, np.full((len(AT), N), scatter**2), np.ones((len(AT), N))


def by_a_fine_grid(means, variances, shape, noise, limits):
    """Summed over 200 by 200 places of both ends."""
    t = np.linspace(-5, 5, 200)
    weight = np.exp(-t * t / 2) / np.exp(-t * t / 2).sum()
    first, second = (part.ravel() for part in np.meshgrid(t, t))
    sd = np.sqrt(variances)
    zero = means[0] + sd[0] * first[:, None]
    along = TOGETHER * first + np.sqrt(1 - TOGETHER**2) * second
    span = means[1] + sd[1] * along[:, None]
    inside = np.ones_like(zero)
    for r, x in enumerate(AT):
        error = (1 - x) * zero + x * span + shape[r]
        own = np.sqrt(noise[r])
        inside *= ndtr((limits[r] - error) / own) - ndtr((-limits[r] - error) / own)
    return np.outer(weight, weight).ravel() @ inside


@pytest.mark.parametrize("scatter", [0.03, 0.08, 0.2])
def test_readings_that_scatter_little_or_much_agree_with_a_fine_grid(scatter):
    fleet = scattered_fleet(scatter)
    known, fine = probability_of_pass(AT, *fleet), by_a_fine_grid(*fleet)
    off = np.abs(known - fine)
    assert off[fine > 0.8].max() < 0.005
    assert off.max() < 0.02
    assert abs((known - fine)[fine > 0.6].mean()) < 0.002


@pytest.mark.parametrize("read", [[0, 4], [0, 2, 4], [0, 1, 3, 4, 8], [1, 7], range(1, 9)])
def test_few_readings_agree_with_a_fine_grid_whichever_are_taken(read):
    means, variances, shape, noise, limits = scattered_fleet(0.08)
    is_read = np.isin(np.arange(len(AT)), list(read))[:, None]
    fleet = means, variances, shape, noise, np.where(is_read, limits, np.inf)
    off = np.abs(probability_of_pass(AT, *fleet) - by_a_fine_grid(*fleet))
    assert off.max() < 0.02
    assert off[by_a_fine_grid(*fleet) > 0.8].max() < 0.005


def test_transmitters_may_differ_in_the_readings_that_are_taken():
    means, variances, shape, noise, limits = scattered_fleet(0.08)
    mixed = np.where(np.random.default_rng(3).random(limits.shape) < 0.5, limits, np.inf)
    fleet = means, variances, shape, noise, mixed
    together = probability_of_pass(AT, *fleet)
    alone = [probability_of_pass(AT, *(part[:, n : n + 1] for part in fleet))[0] for n in range(N)]
    assert together == pytest.approx(alone, abs=1e-9)
    assert together == pytest.approx(by_a_fine_grid(*fleet), abs=0.02)


def test_a_tolerance_that_takes_little_of_the_scatter_leaves_little_chance():
    means, variances, shape, noise, limits = scattered_fleet(0.2)
    fleet = 0 * means, variances, shape, noise, 0.2 * limits
    assert probability_of_pass(AT, *fleet) == pytest.approx(by_a_fine_grid(*fleet), abs=0.01)


def test_one_reading_alone_has_the_probability_of_one_normal():
    ends = [[0.2], [0.0]], [[0.09], [0.5]]
    pass_ = probability_of_pass([0.0], *ends, [[0.1]], [[0.07]], [[0.9]])
    assert pass_[0] == pytest.approx(ndtr(0.6 / 0.4) - ndtr(-1.2 / 0.4), abs=0.003)


def test_a_bend_in_the_middle_lowers_the_chance_that_both_ends_allow():
    means, variances, _, noise, limits = scattered_fleet(0.05)
    straight = probability_of_pass(AT, means, variances, np.zeros_like(noise), noise, limits)
    bend = 4 * (AT * (1 - AT))[:, None] * np.full((1, N), 0.5)
    bent = probability_of_pass(AT, means, variances, bend, noise, limits)
    assert (bent - straight).mean() < -0.05


def test_a_reading_that_is_not_taken_is_no_limit():
    means, variances, shape, noise, limits = scattered_fleet(0.1)
    only = np.where((AT == 0)[:, None], limits, np.inf)
    at = np.isin(np.arange(len(AT)), [0, 8])
    some = probability_of_pass(AT[at], means, variances, shape[at], noise[at], limits[at])
    whole = probability_of_pass(AT, means, variances, shape, noise, only)
    assert whole == pytest.approx(some, abs=1e-3)


def test_a_guard_band_that_takes_the_whole_tolerance_leaves_no_chance():
    means, variances, shape, noise, limits = scattered_fleet(0.1)
    assert (probability_of_pass(AT, means, variances, shape, noise, 0 * limits) == 0).all()


def test_many_at_once_have_the_chances_of_each_alone():
    fleet = scattered_fleet(0.05)
    whole = probability_of_pass(AT, *fleet)
    alone = [probability_of_pass(AT, *(part[:, n : n + 1] for part in fleet))[0] for n in range(N)]
    assert whole == pytest.approx(alone, abs=1e-9)


@pytest.mark.parametrize(
    ("changed", "argument"),
    [
        ({0: [[np.nan], [0]]}, "means"),
        ({0: [[0, 0], [0, 0]]}, "means, variances"),
        ({1: [[0], [1]]}, "variances, reading_variance"),
        ({2: [[0], [0]]}, "shape, reading_variance, limits"),
        ({3: [[-1]]}, "variances, reading_variance"),
        ({4: [[np.nan]]}, "limits"),
    ],
)
def test_what_is_no_test_is_refused_by_name(changed, argument):
    arguments = [[[0], [0]], [[1], [1]], [[0]], [[1]], [[1]]]
    for place, value in changed.items():
        arguments[place] = value
    with pytest.raises(BadArgument) as refusal:
        probability_of_pass([0.5], *arguments)
    assert refusal.value.argument == argument
