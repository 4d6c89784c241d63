import numpy as np
import pytest

from calibration.metrology.drift import CannotFit
from calibration.metrology.fit_checks import expected_out, goodness_of_fit, homogeneity
from calibration.metrology.reliability import fit_exponential, fit_weibull
from calibration.metrology.visit_results import Results
from tests.bench.reliability import Law, family


def test_results_of_another_law_do_not_fit_a_constant_rate():
    seen = family(Law(3.0), 150, 6, np.random.default_rng(1))
    assert goodness_of_fit(seen, fit_exponential(seen)).p_value < 0.001
    assert goodness_of_fit(seen, fit_weibull(seen)).p_value > 0.05


def test_as_many_are_expected_out_as_were_found_out():
    seen = family(Law(), 150, 6, np.random.default_rng(2))
    expected = expected_out(seen, fit_exponential(seen)).sum()
    assert expected == pytest.approx(seen.failures, rel=0.03)


def test_one_time_since_renewal_cannot_judge_a_curve():
    seen = Results.of(np.arange(50), np.zeros(50), np.full(50, 2.0), np.arange(50) < 10)
    with pytest.raises(CannotFit, match="too few to check"):
        goodness_of_fit(seen, fit_exponential(seen))


def test_one_bad_group_is_noticed_and_a_single_family_is_not_split():
    rng = np.random.default_rng(5)
    group = np.arange(160) % 2
    end = np.ones(160)
    bad = rng.random(160) < np.where(group == 1, 0.4, 0.05)
    good = rng.random(160) < 0.15
    split = homogeneity(Results.of(np.arange(160), 0 * end, end, bad), group, rng, permutations=99)
    single = homogeneity(
        Results.of(np.arange(160), 0 * end, end, good), group, rng, permutations=99
    )
    assert split.p_value == pytest.approx(0.01)
    assert single.p_value > 0.05


def test_a_family_of_one_group_cannot_be_compared():
    seen = family(Law(), 20, 6, np.random.default_rng(3))
    with pytest.raises(CannotFit, match="at least two groups"):
        homogeneity(seen, np.zeros(20), np.random.default_rng(0))


def test_groups_seen_after_one_interval_are_compared_as_a_table_of_counts():
    """8 of 20 out against 2 of 20: 5 expected in each, Pearson's χ² = 2 · 3² / (20 · ¼ · ¾)."""
    group = np.arange(40) % 2
    out = np.isin(np.arange(40), [*range(0, 16, 2), 1, 3])
    seen = Results.of(np.arange(40), np.zeros(40), np.full(40, 2.0), out)
    compared = homogeneity(seen, group, np.random.default_rng(6), permutations=1)
    assert compared.statistic == pytest.approx(2 * 9 / (20 * 0.25 * 0.75), rel=1e-6)
