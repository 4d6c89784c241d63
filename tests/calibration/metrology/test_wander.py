import numpy as np
import pytest

from calibration.metrology.crossing import crossings, probability_ever_out
from calibration.metrology.drift import CannotFit
from calibration.metrology.families import fit_families
from calibration.metrology.histories import gather, histories
from calibration.metrology.wander import default_prior, outlook
from tests.bench.truths import TRUTHS, Truth, simulate

YEARS, FOUND, LEFT = [0.0, 1.0, 2.0], [np.nan, 0.1, 0.2], [0.0, 0.1, 0.2]


def a_history(**other):
    given = {"years": YEARS, "as_found": FOUND, "as_left": LEFT, "adjusted": [True, False, False]}
    return histories(**(given | {"u_reading": 0.05} | other))


@pytest.mark.parametrize(
    ("other", "argument", "reason"),
    [
        ({"years": [np.nan, np.nan, 2.0]}, "years", "two visits"),
        ({"years": [0.0, 1.0, 1.0]}, "years", "come after"),
        ({"years": [0.0, np.nan, 1.0]}, "years", "has no time"),
        ({"years": [0.0, 1.0, np.inf]}, "years", "not a number"),
        ({"as_found": [np.nan, 0.1, np.inf]}, "as_found", "not a number"),
        ({"as_found": [np.nan] * 3, "adjusted": [True] * 3}, "as_found", "no as found"),
        ({"u_reading": 0.0}, "u_reading", "above zero"),
        ({"u_reading": np.nan}, "u_reading", "above zero"),
        ({"u_common": 0.06}, "u_common", "between zero and u_reading"),
        ({"as_left": [0.0, 0.1, np.nan], "adjusted": [True] * 3}, "as_left", "not known"),
        ({"as_left": [0.0, 0.1]}, "as_left", "does not go with years"),
    ],
)
def test_unusable_history_is_refused(other, argument, reason):
    with pytest.raises(CannotFit, match=reason) as refusal:
        a_history(**other)
    assert refusal.value.argument == argument


@pytest.mark.parametrize("tolerance", [0.0, -1.0, np.nan])
def test_tolerance_must_be_above_zero(tolerance):
    with pytest.raises(CannotFit, match="tolerance"):
        default_prior(tolerance)


def test_one_instrument_is_a_fleet_of_one():
    fleet = simulate(TRUTHS["walk"], 20, 7, np.random.default_rng(1))
    all_of = outlook(fleet.first(7), default_prior(0.5)).next_as_found(1.0, 0.05)
    for place in range(20):
        column = (c[:, place] for c in (fleet.years, fleet.found, fleet.left, fleet.adjusted))
        one = outlook(histories(*column, 0.05), default_prior(0.5)).next_as_found(1.0, 0.05)
        assert one.upper[0] == pytest.approx(all_of.upper[place], rel=1e-12)


def test_shorter_histories_and_rows_in_any_order_give_the_same():
    fleet = simulate(TRUTHS["walk"], 3, 6, np.random.default_rng(2))
    keep = [6, 4, 2]
    rows = [
        (i, fleet.years[k, i], fleet.found[k, i], fleet.left[k, i], fleet.adjusted[k, i])
        for i, n in enumerate(keep)
        for k in range(6 - n, 6)
    ]
    got = gather(*zip(*rows[::-1], strict=True), 0.05)
    assert got.groups.tolist() == [0, 1, 2]
    assert got.histories.visits.tolist() == keep
    many = outlook(got.histories, default_prior(0.5))
    for i, n in enumerate(keep):
        column = (c[6 - n :, i] for c in (fleet.years, fleet.found, fleet.left, fleet.adjusted))
        one = outlook(histories(*column, 0.05), default_prior(0.5))
        assert many.log_evidence[i] == pytest.approx(one.log_evidence[0], rel=1e-12)


def test_one_bad_history_leaves_the_rest_alone():
    got = gather([1, 1, 2], [0.0, 1.0, 0.0], [0.0, 0.1, 0.0], [0.0, 0.1, 0.0], True, 0.05)
    assert got.groups.tolist() == [1]
    assert got.refused[0][:2] == (2, "years")


def test_visits_of_one_day_become_one():
    years, found = [0.0, 1.0, 1.0, 2.0], [0.0, 0.3, 0.02, 0.1]
    got = gather([1] * 4, years, found, found, False, 0.05).histories
    assert got.increments[:, 0] == pytest.approx([0.3, 0.08])
    assert got.adjusted[:, 0].tolist() == [True, False]


def test_a_history_ends_with_its_last_visit():
    """Level, its uncertainty and the day from which years ahead are counted."""
    fleet = histories(
        [[0.0, np.nan], [1.0, 0.5], [2.5, 3.0]],
        [[0.0, np.nan], [0.1, 0.0], [0.2, 0.3]],
        [[0.0, np.nan], [0.1, 0.0], [0.2, 0.05]],
        [[False] * 2, [False] * 2, [False, True]],
        [[0.1, 0.1], [0.2, 0.2], [0.3, 0.4]],
    )
    assert fleet.last_year.tolist() == [2.5, 3.0]
    assert fleet.level.tolist() == [0.2, 0.05]
    assert fleet.level_variance == pytest.approx([0.09, 0.16])
    assert fleet.visits.tolist() == [3, 2]


@pytest.mark.parametrize("confidence", [0.0, 1.0, 1.5, 95, np.nan])
def test_a_band_of_no_probability_is_refused(confidence):
    of = outlook(a_history(), default_prior(0.5))
    with pytest.raises(ValueError, match="confidence"):
        of.rate(confidence)


@pytest.mark.parametrize(("years", "borrowed"), [(0.2, True), (20.0, False)])
def test_a_rate_is_borrowed_where_the_own_history_is_short(years, borrowed):
    """Twenty-five of a family, seen twice: after weeks a reading tells no rate, after decades it
    does.
    """
    rate = np.random.default_rng(3).normal(0.12, 0.08, 25)
    none = np.zeros((2, 25), dtype=bool)
    found = np.array([0 * rate, rate * years])
    pairs = histories(np.outer([0.0, years], np.ones(25)), found, found, none, 0.05)
    family = np.zeros(25, dtype=int)
    of = outlook(pairs, fit_families(pairs, family, 0.5).of(family))
    assert of.borrowed.tolist() == [borrowed] * 25


def test_without_a_family_nothing_is_borrowed():
    vague = outlook(a_history(u_reading=2.0), default_prior(0.5))
    assert vague.own_weight[0] < 0.5
    assert not vague.borrowed[0]


def test_set_aside_increment_begins_a_fresh_level():
    whole = a_history()
    cut = outlook(whole.without(np.array([[False], [True]])), default_prior(0.5))
    first = outlook(
        a_history(
            years=[0.0, 1.0], as_found=[np.nan, 0.1], as_left=[0.0, 0.1], adjusted=[True, True]
        ),
        default_prior(0.5),
    )
    assert cut.rate().centre[0] == pytest.approx(first.rate().centre[0], rel=1e-12)


def test_two_visits_alone_give_no_date_and_with_a_family_a_borrowed_one():
    fleet = simulate(Truth(), 25, 2, np.random.default_rng(3))
    pairs = fleet.first(2)
    by_itself = crossings(outlook(pairs, default_prior(0.5)), 0.5, 0.05)
    assert not by_itself.dated.any()
    assert np.isinf(by_itself.out).all()
    family = np.zeros(25, dtype=int)
    of = outlook(pairs, fit_families(pairs, family, 0.5).of(family))
    from_family = crossings(of, 0.5, 0.05)
    assert from_family.dated.all()
    assert np.isfinite(from_family.band).all()
    assert of.family_weight + of.own_weight == pytest.approx(np.ones(25))


def test_small_family_lends_nothing():
    pairs = simulate(Truth(), 5, 4, np.random.default_rng(3)).first(4)
    prior = fit_families(pairs, np.zeros(5, dtype=int), 0.5)
    assert prior.others.tolist() == [0]
    assert prior.rate.tolist() == [0.0]


def test_prior_of_a_steadily_drifting_family_is_recovered():
    many = simulate(Truth(), 2000, 8, np.random.default_rng(4)).first(8)
    prior = fit_families(many, np.zeros(2000, dtype=int), 0.5)
    assert prior.rate[0] == pytest.approx(0.12, abs=0.006)
    assert prior.spread[0] == pytest.approx(0.08, abs=0.006)
    assert prior.weights[:4, 0].sum() > 0.95  # hardly any walk
    # How well the mean rate is known: hardly worse than if each rate were known.
    assert prior.mean_sd[0] == pytest.approx(0.08 / np.sqrt(2000), rel=0.3)


def test_days_rise_and_the_line_meets_where_it_should():
    of = outlook(
        simulate(Truth(0.3, 0.05), 50, 8, np.random.default_rng(5)).first(8), default_prior(0.5)
    )
    met = crossings(of, 0.5, 0.05)
    assert (np.diff(met.out, axis=0) >= 0).all() or np.isinf(met.out).any()
    dated = (met.line > 0) & np.isfinite(met.line)
    assert dated.any()
    assert np.abs(of.next_as_found(met.line[dated].max(), 0.0).centre).max() >= 0.5
    at = of.columns(dated).next_as_found(met.line[dated], 0.0).centre
    assert np.abs(at) == pytest.approx(np.full(dated.sum(), 0.5))
    days = met.out[0]
    inner = (days > 0) & np.isfinite(days)
    assert 1 - of.columns(inner).probability_in(days[inner], 0.5) == pytest.approx(0.025, abs=1e-8)


def test_ever_out_agrees_with_simulated_paths():
    one = outlook(a_history(adjusted=[True, True, True]), default_prior(0.5))
    rng, n, t, steps = np.random.default_rng(6), 20_000, 2.0, 400
    node = rng.choice(len(one.weights), n, p=one.weights[:, 0])
    means, variances = (part[node, 0] for part in one.parts(0.0))
    level = rng.normal(means, np.sqrt(variances))
    tie = one.ties[node, 0] / variances
    rest = one.rate_variances[node, 0] - tie**2 * variances
    rate = one.rates[node, 0] + tie * (level - means) + np.sqrt(rest) * rng.normal(size=n)
    x, ever = level.copy(), np.abs(level) > 0.5
    for _ in range(steps):
        rate += np.sqrt(one.changes[node, 0] * t / steps) * rng.normal(size=n)
        x += rate * t / steps + np.sqrt(one.q[node, 0] * t / steps) * rng.normal(size=n)
        ever |= np.abs(x) > 0.5
    # Paths seen 400 times miss a few short excursions; both sides added count a few twice. MC sd
    # 0.0035.
    assert probability_ever_out(one, t, 0.5)[0] == pytest.approx(ever.mean(), abs=0.02)
    out_on_the_day = 1 - one.probability_in(t, 0.5)[0]
    assert out_on_the_day == pytest.approx((np.abs(x) > 0.5).mean(), abs=0.011)
    assert probability_ever_out(one, t, 0.5)[0] > out_on_the_day
