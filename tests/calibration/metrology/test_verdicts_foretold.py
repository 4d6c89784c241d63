"""Chances of passing against verdicts that came, by the functions that the nightly pass runs.

The whole table: python -m tests.bench.verdicts
"""

import numpy as np
import pytest

from tests.bench.verdicts import KINDS, closed_loop, score

N = 3000


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("visits", [3, 6, 10])
def test_of_those_given_a_chance_as_many_pass(kind, visits):
    """Within 0.02 and three standard deviations of the share; a chance under 0.9 errs to the safe
    side with few visits, as the band of the drift does.
    """
    for chance, passed, n in score(KINDS[kind], N, visits, np.random.default_rng(visits)).bins():
        slack = 0.02 + 3 * np.sqrt(chance * (1 - chance) / n)
        assert passed >= chance - slack
        assert passed <= chance + slack + (0.06 if chance < 0.9 else 0.0)


@pytest.mark.parametrize("kind", KINDS)
def test_a_chance_of_the_verdict_is_worth_more_than_that_of_the_worse_end(kind):
    """Where readings hardly differ from the line both are worth the same, but for chance."""
    for visits in (6, 10):
        chance, worse = score(KINDS[kind], N, visits, np.random.default_rng(7)).brier()
        assert chance < worse + (0.001 if kind == "smooth" else 0.0)


@pytest.mark.parametrize("kind", KINDS)
def test_intervals_aimed_at_95_percent_pass_as_often(kind):
    loop = closed_loop(KINDS[kind], 300, np.random.default_rng(1))
    assert 0.94 - 0.01 <= loop.passed_uncut <= 0.98
    assert loop.uncut > 1000
