import numpy as np
import pytest

from calibration.metrology.drift import CannotFit
from calibration.metrology.survival import coarsen, nonparametric_curve
from calibration.metrology.visit_results import Results
from tests.bench.reliability import Law, family


def test_one_length_gives_the_share_found_out():
    seen = Results.of(np.arange(10), np.zeros(10), np.full(10, 2.0), np.arange(10) < 3)
    curve = nonparametric_curve(seen)
    assert curve.lower.tolist() == [0]
    assert curve.upper.tolist() == [2]
    assert curve.left == pytest.approx([0.7])


def test_failures_seen_as_they_happened_count_down_one_by_one():
    t = np.array([1.0, 2.0, 3.0])
    seen = Results.of([0, 1, 2, 0, 1, 2], [*t, 0, 0, 0], [*t, *t], [1, 1, 1, 0, 0, 0])
    curve = nonparametric_curve(seen)
    assert curve.upper.tolist() == [1, 2, 3]
    assert curve.left == pytest.approx([2 / 3, 1 / 3, 0], abs=1e-9)


def test_a_span_does_not_hold_the_moment_it_begins():
    """In tolerance at 1 year and out at 2; another out before 1: they went out apart."""
    curve = nonparametric_curve(Results.of([0, 0, 1], [0, 1, 0], [1, 2, 1], [0, 1, 1]))
    assert list(zip(curve.lower, curve.upper, strict=True)) == [(0, 1), (1, 2)]
    assert curve.left == pytest.approx([0.5, 0], abs=1e-9)


def test_no_other_curve_is_likelier():
    """Self-consistency, started evenly over the same stretches, ends at the same curve."""
    seen = family(Law(2.0), 60, 5, np.random.default_rng(4))
    curve = nonparametric_curve(seen)
    low = np.r_[curve.lower, np.inf]
    high = np.r_[curve.upper, np.inf]
    spans = [(s, e) for s, e, out in zip(seen.start, seen.end, seen.out, strict=True) if out]
    passes = list(zip(seen.instrument, seen.end, seen.out, strict=True))
    starts = set(zip(seen.instrument, seen.start, strict=True))
    spans += [(e, np.inf) for who, e, out in passes if not out and (who, e) not in starts]
    holds = np.array([(s <= low) & (high <= e) for s, e in spans], dtype=float)
    mass = np.full(len(low), 1 / len(low))
    for _ in range(20000):
        mass *= holds.T @ (1 / (holds @ mass)) / len(spans)
    assert np.log(holds @ mass).sum() == pytest.approx(curve.log_likelihood, abs=1e-6)
    assert curve.left == pytest.approx(1 - np.cumsum(mass)[:-1], abs=1e-4)


def test_corners_run_from_one_to_the_last_time_and_never_rise():
    seen = family(Law(2.0), 60, 5, np.random.default_rng(4))
    years, left = zip(*nonparametric_curve(seen).corners(6.0), strict=True)
    assert years[0] == 0
    assert left[0] == 1
    assert years[-1] == 6.0
    assert (np.diff(years) >= 0).all()
    assert (np.diff(left) <= 0).all()


def test_a_coarser_grid_moves_the_curve_by_little():
    seen = family(Law(1.5), 150, 8, np.random.default_rng(6))
    fine, coarse = (
        dict(nonparametric_curve(s).corners(4.0)) for s in (seen, coarsen(seen, 1 / 52))
    )
    for year in (1.0, 2.0, 3.0):
        left, right = (np.interp(year, list(c), list(c.values())) for c in (fine, coarse))
        assert left == pytest.approx(right, abs=0.03)


def test_a_clock_that_starts_late_is_refused():
    with pytest.raises(CannotFit, match="starts late"):
        nonparametric_curve(Results.of([0], [1.0], [2.0], [True]))
