"""Output stage and primary element: against dense normal algebra and wander.py."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import histories
from calibration.metrology.stage_visits import Visits
from calibration.metrology.stages import estimate
from calibration.metrology.wander import Prior, default_prior, outlook
from tests.calibration.metrology.stage_fleet import TOLERANCE, Fleet, prior


def nothing() -> Prior:
    """A stage that does not move."""
    return prior(0.0, 0.0, 0.0)


# ---- the dense referee ----
def dense(history, qs, rates):
    """Mean and variance of both rates and of both readings ``ahead``; and the log evidence.

    One history as a list of rows (year, kind, value, visit, segment of o, segment of p); all
    readings at once, levels as columns of a regression. No filter, no order of time.
    """
    rows, ahead, u, shared = history
    n = len(rows)
    year = np.array([row[0] for row in rows] + [ahead, ahead])
    sees_p = np.array([row[1] == "w" for row in rows] + [False, True])
    visit = np.array([row[3] for row in rows] + [-1, -2])
    v = np.minimum.outer(year, year) * qs[0]
    v = v + np.outer(sees_p, sees_p) * np.minimum.outer(year, year) * qs[1]
    slopes = np.stack([year, year * sees_p])
    spread = np.diag([rates[0].spread[0] ** 2, rates[1].spread[0] ** 2])
    v = v + slopes.T @ spread @ slopes
    same = (visit[:, None] == visit[None]) & (visit[:, None] >= 0)
    kind_same = sees_p[:, None] == sees_p[None]
    v = v + np.where(same & kind_same, shared["kind"] ** 2, 0)
    v = v + np.where(same & ~kind_same, shared["meter"] ** 2, 0)
    v[np.arange(n), np.arange(n)] += u**2 - shared["kind"] ** 2
    names = sorted(
        {("o", row[4]) for row in rows} | {("p", row[5]) for row in rows if row[1] == "w"}
    )
    last = rows[-1]
    columns = [[("o", r[4]), *([("p", r[5])] if r[1] == "w" else [])] for r in rows]
    columns += [[("o", last[4])], [("o", last[4]), ("p", last[5])]]
    x = np.array([[float(name in c) for name in names] for c in columns])
    mean = slopes.T @ np.array([rates[0].rate[0], rates[1].rate[0]])
    y = np.array([row[2] for row in rows]) - mean[:n]
    inverse = np.linalg.inv(v[:n, :n])
    # Readings that fix only the sum of two levels leave one of them free: the pseudo-inverse
    # takes the rest.
    xtx = x[:n].T @ inverse @ x[:n]
    values, vectors = np.linalg.eigh(xtx)
    kept = values > 1e-8 * values.max()
    free = vectors[:, kept] / values[kept] @ vectors[:, kept].T
    level = free @ x[:n].T @ inverse @ y
    residual = y - x[:n] @ level
    log_evidence = -0.5 * (
        np.linalg.slogdet(v[:n, :n])[1] + np.log(values[kept]).sum() + residual @ inverse @ residual
    )
    # Rates and future readings, each with its covariance with the readings.
    cross = np.vstack([spread @ slopes[:, :n], v[n:, :n]])
    own = np.concatenate([np.diag(spread), np.diag(v)[n:]])
    ahead_x = np.vstack([np.zeros((2, x.shape[1])), x[n:]])
    more = ahead_x - cross @ inverse @ x[:n]
    centre = np.concatenate([[rates[0].rate[0], rates[1].rate[0]], mean[n:]])
    centre = centre + ahead_x @ level + cross @ inverse @ residual
    variance = own - np.einsum("ij,jk,ik->i", cross, inverse, cross)
    variance = variance + np.einsum("ij,jk,ik->i", more, free, more)
    return centre, variance, log_evidence


YEARS = [0.0, 0.8, 1.9, 2.4, 3.6]
FOUND_S = [0.02, 0.05, np.nan, 0.11, 0.16]
FOUND_W = [0.10, np.nan, 0.31, 0.36, 0.28]
LEFT_S = [np.nan, np.nan, 0.01, np.nan, 0.0]
LEFT_W = [np.nan, np.nan, 0.28, 0.12, np.nan]
TRIMMED = [False, False, True, False, False]
ADJUSTED = [False, False, False, True, False]


def mixed(**other):
    given = {
        "simulated": FOUND_S,
        "wetted": FOUND_W,
        "simulated_left": LEFT_S,
        "wetted_left": LEFT_W,
        "trimmed": TRIMMED,
        "adjusted": ADJUSTED,
        "u_simulated": 0.05,
        "u_wetted": 0.05,
    }
    return Visits.of(YEARS, **(given | other))


def as_rows():
    rows, o, p = [], 0, 0
    for k, year in enumerate(YEARS):
        rows += [
            (year, kind, found[k], k, o, p)
            for kind, found in (("s", FOUND_S), ("w", FOUND_W))
            if not np.isnan(found[k])
        ]
        o, p = o + TRIMMED[k], p + ADJUSTED[k]
        if TRIMMED[k]:
            rows.append((year, "s", LEFT_S[k], k, o, p))
        if TRIMMED[k] or ADJUSTED[k]:
            rows.append((year, "w", LEFT_W[k], k, o, p))
    return rows


@pytest.mark.parametrize(
    ("kind", "meter"), [(0.0, 0.0), (0.04, 0.0), (0.03, 0.03)], ids=["apart", "visit", "meter"]
)
def test_filter_agrees_with_dense_normal_algebra(kind, meter):
    output = prior(0.03, 0.04, 0.0, 0.06, weights=[0.7, 0.3])
    primary = prior(-0.10, 0.15, 0.02, 0.11, 0.3)
    got = estimate(
        mixed(common_simulated=kind, common_wetted=kind, u_meter=meter),
        output=output,
        primary=primary,
    )
    history = (as_rows(), YEARS[-1] + 1.5, 0.05, {"kind": kind, "meter": meter})
    pairs = [(qo, qp) for qo in output.q[:, 0] for qp in primary.q[:, 0]]
    answers = [dense(history, pair, (output, primary)) for pair in pairs]
    for j, (centre, variance, _) in enumerate(answers):
        assert got.mean[2:, j, 0] == pytest.approx(centre[:2], abs=1e-10)
        assert got.known[[2, 3], [2, 3], j, 0] == pytest.approx(variance[:2], rel=1e-9)
        # What the readings would show 1.5 years on: level and rate of each stage that they see.
        for place, (sees, walk) in enumerate(
            (([1, 0, 1.5, 0], pairs[j][0]), ([1, 1, 1.5, 1.5], sum(pairs[j])))
        ):
            sees = np.array(sees)
            assert sees @ got.mean[:, j, 0] == pytest.approx(centre[2 + place], abs=1e-10)
            ahead = sees @ got.known[:, :, j, 0] @ sees + 1.5 * walk
            assert ahead == pytest.approx(variance[2 + place], rel=1e-9)
    before = [wo * wp for wo in output.weights[:, 0] for wp in primary.weights[:, 0]]
    score = np.array([answer[2] for answer in answers]) + np.log(before)
    weights = np.exp(score - score.max()) / np.exp(score - score.max()).sum()
    assert got.weights[:, 0] == pytest.approx(weights, rel=1e-9)


# ---- one kind alone ----
ONE = {
    "years": [0.0, 0.7, 1.9, 2.6],
    "found": [0.02, 0.10, 0.31, 0.05],
    "left": [np.nan, np.nan, 0.03, np.nan],
    "was": [False, False, True, False],
}


def plainly(common=0.0):
    found = np.array(ONE["found"])
    left = np.where(ONE["was"], ONE["left"], found)
    return outlook(
        histories(ONE["years"], found, left, ONE["was"], 0.05, common),
        default_prior(TOLERANCE).of_steady_rate,
    )


@pytest.mark.parametrize("common", [0.0, 0.04])
def test_wetted_readings_alone_are_the_plain_history(common):
    got = estimate(
        Visits.of(
            ONE["years"],
            wetted=ONE["found"],
            wetted_left=ONE["left"],
            adjusted=ONE["was"],
            u_wetted=0.05,
            common_wetted=common,
        ),
        output=nothing(),
        primary=default_prior(TOLERANCE),
    )
    by_itself = plainly(common)
    for name in ("centre", "sd", "lower", "upper"):
        ours, plain = getattr(got.primary_rate(), name), getattr(by_itself.rate(), name)
        assert ours == pytest.approx(plain, rel=1e-8)
    assert got.weights == pytest.approx(by_itself.weights, rel=1e-8)
    assert got.own_weight[1] == pytest.approx(by_itself.own_weight, rel=1e-8)
    assert (got.output_observed[0], got.primary_observed[0]) == (False, True)


def test_simulated_readings_alone_are_the_plain_history_and_leave_the_primary_as_believed():
    primary = prior(-0.1, 0.15, 0.05)
    got = estimate(
        Visits.of(
            ONE["years"],
            simulated=ONE["found"],
            simulated_left=ONE["left"],
            trimmed=ONE["was"],
            u_simulated=0.05,
        ),
        output=default_prior(TOLERANCE),
        primary=primary,
    )
    by_itself = plainly()
    assert got.output_rate().upper == pytest.approx(by_itself.rate().upper, rel=1e-8)
    assert not got.primary_observed[0]
    assert got.own_weight[0] == pytest.approx(by_itself.own_weight, rel=1e-8)
    rate = got.primary_rate()
    assert (rate.centre[0], rate.sd[0]) == (pytest.approx(-0.1), pytest.approx(0.15))
    assert got.own_weight[1, 0] == pytest.approx(0.0, abs=1e-12)


def test_a_trim_is_no_drift_of_the_primary():
    """Trimmed by 0.2: wetted readings before and after differ by that and by nothing else."""
    got = estimate(
        Visits.of(
            [0.0, 1.0, 2.0],
            simulated=[0.2, 0.2, 0.0],
            simulated_left=[np.nan, 0.0, np.nan],
            wetted=[0.3, 0.3, 0.1],
            wetted_left=[np.nan, 0.1, np.nan],
            trimmed=[False, True, False],
            u_simulated=0.01,
            u_wetted=0.01,
        ),
        output=prior(0, 0.1, 0.01),
        primary=prior(0, 0.1, 0.01),
    )
    assert got.primary_rate().centre[0] == pytest.approx(0.0, abs=1e-6)
    assert got.output_rate().centre[0] == pytest.approx(0.0, abs=1e-6)


def test_one_meter_in_both_readings_leaves_the_primary_surer():
    """What the meter adds to both cancels in their difference, which is the primary's error."""
    both = {
        "simulated": [0.0, 0.1, 0.1],
        "wetted": [0.1, 0.2, 0.3],
        "simulated_left": np.nan,
        "wetted_left": np.nan,
        "trimmed": False,
        "adjusted": False,
    }
    both_visits = [
        Visits.of([0.0, 1.0, 2.0], **both, u_simulated=0.05, u_wetted=0.05, u_meter=meter)
        for meter in (0.0, 0.045)
    ]
    apart, shared = (
        estimate(one, output=prior(0, 1, 0.01), primary=prior(0, 1, 0.01)) for one in both_visits
    )
    assert shared.primary_rate().sd[0] < 0.7 * apart.primary_rate().sd[0]


def test_one_instrument_is_a_fleet_of_one():
    fleet = Fleet.simulated(300, 5, ("both", "wetted", "simulated"), seed=4)
    output, primary = prior(0.02, 0.03, 0.0, 0.05), default_prior(TOLERANCE)
    many = estimate(fleet.visits(5), output=output, primary=primary)
    for place in (0, 17, 299):
        one = estimate(fleet.visits(5).columns([place]), output=output, primary=primary)
        assert one.primary_rate().upper[0] == pytest.approx(many.primary_rate().upper[place])
        assert one.output_rate().lower[0] == pytest.approx(many.output_rate().lower[place])


def test_a_shorter_history_stands_behind_empty_visits():
    long = Visits.of(
        [np.nan, np.nan, 0.0, 0.8, 1.9], wetted=[np.nan, np.nan, 0.1, 0.2, 0.3], u_wetted=0.05
    )
    short = Visits.of([0.0, 0.8, 1.9], wetted=[0.1, 0.2, 0.3], u_wetted=0.05)
    a, b = (
        estimate(one, output=nothing(), primary=default_prior(TOLERANCE)) for one in (long, short)
    )
    assert a.primary_rate().upper == pytest.approx(b.primary_rate().upper, rel=1e-12)


# ---- refusals ----
@pytest.mark.parametrize(
    ("other", "argument", "reason"),
    [
        ({"simulated": [0.0, 0.1]}, "simulated", "does not go with years"),
        ({"simulated": [0.0, np.inf, 0, 0, 0]}, "simulated", "not a number"),
        ({"wetted_left": [0.0, np.inf, 0, 0, 0]}, "wetted", "not a number"),
        ({"u_simulated": 0.0}, "u_simulated", "above zero"),
        ({"u_wetted": np.nan}, "u_wetted", "above zero"),
        ({"common_wetted": 0.06}, "common_wetted", "between zero and u_wetted"),
        ({"common_simulated": -0.01}, "common_simulated", "between zero"),
        ({"u_meter": 0.06}, "u_meter", "between zero"),
        ({"simulated": np.nan, "wetted": np.nan}, "simulated, wetted", "two visits with a reading"),
        ({"trimmed": [[True]]}, "trimmed", "does not go"),
    ],
)
def test_unusable_readings_are_refused(other, argument, reason):
    if other.get("trimmed"):
        other = {"trimmed": np.ones((2, 3), dtype=bool)}
    with pytest.raises(CannotFit, match=reason) as refusal:
        mixed(**other)
    assert refusal.value.argument == argument


@pytest.mark.parametrize(
    ("years", "reason"),
    [
        ([0.0], "two visits"),
        ([0.0, 0.0], "come after"),
        ([0.0, np.nan, 1.0], "has no time"),
        ([0.0, np.inf], "not a number"),
        (0.0, "one row a visit"),
    ],
)
def test_unusable_times_are_refused(years, reason):
    with pytest.raises(CannotFit, match=reason):
        Visits.of(years, wetted=0.1, u_wetted=0.05)


def test_a_refusal_names_the_instrument_whose_readings_are_wrong():
    """Three instruments, four visits; the second has a gap, and too large a common part."""
    years = np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [2.0, 2.0, 2.0], [3.0, 3.0, 3.0]])
    common = np.zeros((4, 3))
    common[3, 1] = 0.06
    with pytest.raises(CannotFit, match="instrument 2: it must lie between zero and u_wetted"):
        Visits.of(years, wetted=0.1, u_wetted=0.05, common_wetted=common)
    years[1, 1] = np.nan
    with pytest.raises(CannotFit, match="instrument 2: a visit has no time"):
        Visits.of(years, wetted=0.1, u_wetted=0.05)


def test_readings_that_cannot_be_compared_are_refused():
    u = {"u_simulated": 0.05, "u_wetted": 0.05}
    once_each = Visits.of([0.0, 1.0], simulated=[0.1, np.nan], wetted=[np.nan, 0.2], **u)
    with pytest.raises(CannotFit, match="no reading can be compared"):
        estimate(once_each, output=default_prior(TOLERANCE), primary=default_prior(TOLERANCE))
    lost = Visits.of([0.0, 1.0], wetted=[0.1, 0.2], adjusted=[True, False], u_wetted=0.05)
    with pytest.raises(CannotFit, match="no reading can be compared"):
        estimate(lost, output=default_prior(TOLERANCE), primary=default_prior(TOLERANCE))


def test_priors_must_be_one_for_all_or_one_an_instrument():
    two = default_prior(np.array([0.5, 0.5]))
    with pytest.raises(CannotFit, match="2 priors for 1 instruments"):
        estimate(mixed(), output=two, primary=default_prior(TOLERANCE))
