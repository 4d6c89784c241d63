"""The 95 % band holds what comes as often as it says, by the functions that the nightly pass runs.

The whole table: python -m tests.bench.coverage
"""

import numpy as np
import pytest

from tests.bench.coverage import cells, judged
from tests.bench.truths import OTHERS, TRUTHS, simulate

N = 2000
# Monte Carlo sd of a share, points at N: of 95 % (and of 5 %) 0.49, of 92 % 0.61, of 90 % 0.67.
# Bounds by number of visits, in %.
LARGE = {2: (92.5, 97.5), 3: (92.5, 97.5), 4: (92.5, 97.5), 6: (93, 97), 10: (93, 97)}
SMALL = {2: (92, 99), 3: (92, 99), 4: (92, 99), 6: (93, 97), 10: (93, 97)}
ALONE = {2: (93, 100), 3: (93, 100), 4: (93, 100), 6: (93, 100), 10: (93, 99)}
# Width of the band to that of one that knows everything, of families of steadily drifting
# instruments. A family of 2,000 is known from 250 of them.
WIDEST = {2000: {2: 1.25, 3: 1.2, 4: 1.15, 6: 1.15, 10: 1.1}, 25: dict.fromkeys((2, 3, 4, 6), 1.4)}
WIDEST[25][10] = 1.1
FEWEST_HELD = {kind: 92.0 for kind in OTHERS} | {"accelerating": 90.0}


@pytest.mark.parametrize("kind", TRUTHS)
@pytest.mark.parametrize(
    ("size", "slack", "bounds"),
    [(2000, 1.0, LARGE), (25, 1.0, SMALL), (0, 1.5, ALONE)],
    ids=["large", "small", "alone"],
)
def test_band_for_the_next_as_found_is_honest(kind, size, slack, bounds):
    for visits, (own, best) in cells(TRUTHS[kind], N, size, seed=3).items():
        low, high = bounds[visits]
        assert low - slack <= own.covered <= high + slack, visits
        if kind == "linear" and size:
            assert own.width / best.width <= WIDEST[size][visits], visits


@pytest.mark.parametrize("kind", OTHERS)
@pytest.mark.parametrize("size", [2000, 25])
def test_band_holds_under_truths_that_it_was_not_made_for(kind, size):
    least = FEWEST_HELD[kind] - 3 * 0.61
    for visits, (own, _) in cells(OTHERS[kind], N, size, 5, (3, 4, 6, 10)).items():
        assert own.covered >= least, visits


@pytest.mark.parametrize("kind", TRUTHS)
@pytest.mark.parametrize("size", [2000, 25])
@pytest.mark.parametrize("visits", [5, 6, 10])
def test_hardly_any_history_of_a_fleet_without_jumps_is_questioned(kind, size, visits):
    fleet = simulate(TRUTHS[kind], N, visits, np.random.default_rng(visits))
    flags = judged(fleet.first(visits), size).flags
    assert 100 * flags.any(axis=0).mean() <= 5 + 3 * 0.49


@pytest.mark.parametrize("visits", [3, 4])
def test_nothing_is_set_aside_where_nothing_can_be_flagged(visits):
    """Else a family of short histories seems to wander less than it does, and its bands are narrow:
    89 % were held instead of 95.
    """
    fleet = simulate(TRUTHS["half and half"], N, visits, np.random.default_rng(1))
    fit = judged(fleet.first(visits), 2000)
    assert not fit.flags.any()
    assert np.array_equal(fit.jumps.prior.weights, fit.prior.weights)


def test_a_family_whose_rates_change_is_recognized():
    for kind, few, many in (("accelerating", 0.9, 1.0), ("linear", 0.0, 0.02)):
        fleet = simulate((TRUTHS | OTHERS)[kind], N, 6, np.random.default_rng(2))
        prior = judged(fleet.first(6), 2000).prior
        weight = (prior.weights * (prior.change > 0)).sum(axis=0)
        assert few <= weight.mean() <= many, kind
