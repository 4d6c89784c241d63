import numpy as np
import pytest

from calibration.metrology.intervals import propose, reasons, shortened
from calibration.metrology.longest_interval import Longest, longest
from calibration.metrology.staircase import staircase, staircase_target
from calibration.metrology.wander import default_prior, outlook
from tests.bench.closed_loop import Drift, FixedYear, closed_loop
from tests.bench.truths import TRUTHS, Truth, simulate


def fleet(truth=TRUTHS["half and half"], n=300, visits=8):
    return outlook(
        simulate(truth, n, visits, np.random.default_rng(1)).first(visits), default_prior(0.5)
    )


def test_longest_interval_ends_where_the_target_does():
    of = fleet()
    got = longest(of, 0.5, 0.05)
    inner = got.reached & ~got.capped
    assert inner.sum() > 100
    p = of.columns(inner).probability_in(got.years[inner], 0.5, 0.05)
    assert p == pytest.approx(np.full(inner.sum(), 0.95), abs=1e-8)


def test_first_fall_below_the_target_counts():
    of = fleet()
    got = longest(of, 0.5, 0.05)
    for share in np.linspace(0.05, 0.99, 12):
        early = 0.25 + share * (got.years - 0.25)
        p = of.probability_in(early, 0.5, 0.05)
        assert (p[got.reached] >= 0.95 - 1e-8).all()


def test_target_not_reached_proposes_the_lower_bound_and_says_so():
    of = fleet(Truth(walk=0.9))
    made = propose(of, 0.5, 0.05, current=1.0)
    bad = int((~made.reached).argmax())
    assert not made.reached[bad]
    assert made.years[bad] == 0.25
    assert made.cut[bad]
    part = reasons(made, of, 0.5, [bad])[0][0]
    assert part.says == "target not reached at lower bound"
    assert part.numbers["probability"] < 0.95


def test_lengthening_is_limited_and_shortening_is_not():
    of = fleet(Truth(0.0, 0.02))
    slow = propose(of, 0.5, 0.05, current=0.5)
    assert slow.lengthening_cut.mean() > 0.9
    assert slow.years.max() <= 1.0
    assert reasons(slow, of, 0.5)[0][0].says == "lengthening limited"
    made = propose(fleet(Truth(0.4, 0.02)), 0.5, 0.05, current=5.0)
    assert made.years.min() < 1.5
    assert not made.longer.any()


def test_a_chance_of_passing_that_falls_sooner_than_an_end_decides():
    of = fleet(Truth(0.0, 0.02), n=4)
    by_end = propose(of, 0.5, 0.05, current=1.0)
    assert (by_end.years == 2.0).all()
    assert (by_end.wanted > 2.0).all()
    found = Longest(
        np.array([1.5, 3.0, 0.25]), np.array([True, True, False]), np.array([False] * 3)
    )
    made, decided = shortened(by_end, np.array([0, 1, 2]), found)
    assert made.years == pytest.approx([1.5, 2.0, 0.25, 2.0])
    assert decided.tolist() == [True, False, True, False]
    assert made.lengthening_cut.tolist() == [False, True, False, True]
    assert made.reached.tolist() == [True, True, False, True]


def test_what_the_figures_would_allow_is_no_longer_than_the_chance_of_passing_does():
    of = fleet(Truth(0.0, 0.02), n=1)
    by_end = propose(of, 0.5, 0.05, current=1.0)
    found = Longest(np.array([3.0]), np.array([True]), np.array([False]))
    made, _ = shortened(by_end, np.array([0]), found)
    decided = reasons(made, of, 0.5)[0][0]
    assert decided.says == "lengthening limited"
    assert (decided.numbers["years"], decided.numbers["wanted"]) == (2.0, 3.0)


@pytest.mark.parametrize(
    ("current", "says"), [(0.5, "longer"), (5.0, "shorter"), (None, "unchanged")]
)
def test_reason_says_whether_the_interval_grows(current, says):
    of = fleet(Truth(0.2, 0.05))
    wanted = float(propose(of, 0.5, 0.05).years[0])
    made = propose(of, 0.5, 0.05, current=current or wanted)
    assert reasons(made, of, 0.5, [0])[0][1].says == says


def test_reason_says_where_the_rate_comes_from():
    of = fleet()
    says = {part.says: part.numbers for part in reasons(propose(of, 0.5, 0.05), of, 0.5)[0]}
    assert says["judged alone"]["others"] == 0
    assert says["rate"]["lower"] < says["rate"]["rate"] < says["rate"]["upper"]
    assert "if no step comes" in says
    assert (
        says["ever out by then"]["probability"] > 1 - says["true error in tolerance"]["probability"]
    )


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        ({"target": 1.0}, "target"),
        ({"lower": 0.0}, "lower"),
        ({"lower": 2.0, "upper": 1.0}, "lower, upper"),
        ({"current": 0.0}, "current"),
        ({"lengthen": 0.5}, "lengthen"),
        ({"tolerance": -0.5}, "tolerance"),
        ({"u_next": np.nan}, "u_next"),
        ({"u_next": -0.05}, "u_next"),
    ],
)
def test_proposal_is_refused(other, reason):
    with pytest.raises(ValueError, match=reason):
        propose(fleet(n=2), **({"tolerance": 0.5, "u_next": 0.05} | other))


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ((0, True, 0.1, 0.5), "current"),
        ((1, True, 0, 0.5), "longer"),
        ((1, True, 0.1, 1), "shorter"),
    ],
)
def test_staircase_is_refused(given, reason):
    current, inside, longer, shorter = given
    with pytest.raises(ValueError, match=reason):
        staircase(current, inside, longer=longer, shorter=shorter)


@pytest.mark.parametrize(
    ("longer", "shorter", "named"), [(0, 0.5, "longer"), (0.1, 1.0, "shorter")]
)
def test_a_staircase_that_does_not_move_settles_nowhere(longer, shorter, named):
    with pytest.raises(ValueError, match=named):
        staircase_target(longer, shorter)


@pytest.mark.parametrize("kind", ["linear", "walk"])
def test_closed_loop_keeps_its_target_with_longer_intervals_than_a_fixed_year(kind):
    # 600 instruments, about 7,000 visits: Monte Carlo sd of a share 0.25 points, more as visits
    # of one go together.
    got = closed_loop(TRUTHS[kind], Drift(25), 600, seed=13)
    assert got.inside >= 94.5 - 0.75
    assert 94 - 0.75 <= got.uncut <= 98 + 0.75
    assert got.interval > closed_loop(TRUTHS[kind], FixedYear(), 100, seed=13).interval
