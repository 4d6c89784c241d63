import math

import numpy as np
import pytest

from calibration.metrology.errors import Figures, figures, figures_fleet, percent_errors

UP_DOWN = {"rising": [True, True, True, False], "run": [1, 1, 1, 1]}


def by_hand(points, errors, rising, run):
    """The same figures by plain loops: the referee."""
    rows = list(zip(points, errors, rising, run, strict=True))

    def mean_of(keep):
        kept = [row[1] for row in rows if keep(row)]
        return sum(kept) / len(kept) if kept else None

    def largest_difference(runs):
        found = []
        for point in set(points):
            for some in runs:
                up = mean_of(lambda r, p=point, s=some: r[0] == p and r[2] and r[3] in s)
                down = mean_of(lambda r, p=point, s=some: r[0] == p and not r[2] and r[3] in s)
                if up is not None and down is not None:
                    found.append(abs(up - down))
        return max(found, default=None)

    low, high = min(points), max(points)
    return Figures(
        largest=max(errors, key=abs),
        lowest=min(errors),
        highest=max(errors),
        at_zero=mean_of(lambda r: r[0] == low) if abs(low) <= 5 else None,
        at_span=mean_of(lambda r: r[0] == high) if abs(high - 100) <= 5 else None,
        hysteresis=largest_difference([{some} for some in set(run)]),
        hysteresis_of_means=largest_difference([set(run)]),
        n=len(errors),
    )


def known(shown):
    return pytest.approx({k: v for k, v in vars(shown).items() if v is not None}, rel=1e-12)


def test_fleet_of_records_has_the_figures_of_each_by_hand():
    rng = np.random.default_rng(3)
    sizes = rng.integers(1, 25, 300)
    record = np.repeat(np.arange(300), sizes)
    count = len(record)
    point = rng.choice([0.0, 3.0, 25.0, 50.0, 75.0, 97.0, 100.0], count)
    errors, rising, run = (
        rng.normal(0, 0.2, count),
        rng.random(count) < 0.6,
        rng.integers(1, 4, count),
    )
    order = rng.permutation(count)
    fleet = figures_fleet(*(c[order] for c in (record, point, errors, rising, run)), records=301)
    for i in range(300):
        mine = (c[record == i].tolist() for c in (point, errors, rising, run))
        wanted = by_hand(*mine)
        shown = fleet.of(i)
        assert {k: v for k, v in vars(shown).items() if v is not None} == known(wanted)
    assert fleet.of(300) is None


def test_largest_error_keeps_its_sign():
    assert figures([0, 50, 100, 50], [0.1, -0.4, 0.2, 0.3], **UP_DOWN).largest == -0.4


def test_errors_at_the_ends_come_only_from_points_near_them():
    near = figures([5, 50, 95, 50], [0.1, 0.2, 0.3, 0.2], **UP_DOWN)
    assert (near.at_zero, near.at_span) == (0.1, 0.3)
    far = figures([5.01, 50, 94.99, 50], [0.1, 0.2, 0.3, 0.2], **UP_DOWN)
    assert (far.at_zero, far.at_span) == (None, None)


def test_one_point_in_the_middle_shows_neither_zero_nor_span():
    shown = figures([50], [0.2], [True], [1])
    assert (shown.at_zero, shown.at_span, shown.hysteresis, shown.n) == (None, None, None, 1)


def test_hysteresis_pairs_up_and_down_within_one_run_only():
    # Rising in run 1, falling in run 2: between them the product may have warmed.
    shown = figures([50, 50], [0.1, 0.5], [True, False], [1, 2])
    assert shown.hysteresis is None
    assert shown.hysteresis_of_means == pytest.approx(0.4)


def test_applied_values_that_differ_by_rounding_are_one_point():
    shown = figures([10, 10 + 1e-9, 90, 90], [0.1, 0.3, 0, 0], [True, False, True, True], [1] * 4)
    assert shown.hysteresis == pytest.approx(0.2)


def test_error_of_an_indication_is_in_per_cent_of_the_range():
    assert percent_errors(6.02, 6.0, signal_span=8.0) == pytest.approx(0.25)


@pytest.mark.parametrize("span", [0.0, -16.0, math.nan])
def test_span_of_the_output_not_above_zero_is_refused(span):
    with pytest.raises(ValueError, match="signal_span"):
        percent_errors(4.0, 4.0, signal_span=span)


def test_test_without_readings_is_refused():
    with pytest.raises(ValueError, match="no reading"):
        figures([], [], [], [])


@pytest.mark.parametrize(
    ("points", "errors", "named"),
    [([0, 50], [0.1, math.nan], "errors"), ([math.nan, 50], [0.1, 0.1], "applied_percent")],
)
def test_reading_that_is_not_a_number_is_refused(points, errors, named):
    with pytest.raises(ValueError, match=f"{named}: not a number"):
        figures(points, errors, [True, True], [1, 1])


def test_columns_of_different_lengths_are_refused():
    with pytest.raises(ValueError, match="one value a reading"):
        figures([0, 50], [0.1, 0.2], [True], [1, 1])
