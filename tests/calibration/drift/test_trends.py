"""The stored trend of a point: of its two ends the one that leaves the tolerance first."""

from __future__ import annotations

import pytest

from calibration.drift.models import Trend
from calibration.drift.trends import refit
from tests.makers import an_equipped_point, past_records

pytestmark = pytest.mark.django_db


def stored_trend(tag: str, *, zero: float, span: float, **others) -> Trend:
    """After six yearly results that drift by so much a year, % of span; 1 % is allowed."""
    point = an_equipped_point(tag)
    rates = {
        f"{reading}_at_{end}": rate
        for reading in ("found", "left")
        for end, rate in (("zero", zero), ("span", span))
    }
    past_records(
        point, *({name: r * year for name, r in rates.items()} | others for year in range(6))
    )
    assert refit([point.pk]) == 1
    return Trend.objects.get(point=point)


@pytest.mark.parametrize(
    ("zero", "span", "first"),
    [(0.05, 0.15, "span"), (0.15, 0.05, "zero"), (0.05, -0.15, "span"), (0.15, 0.15, "zero")],
)
def test_the_end_that_leaves_the_tolerance_first_gives_the_day(site, zero, span, first):
    both = stored_trend("LT-1", zero=zero, span=span)
    alike = stored_trend("LT-2", zero=0.15, span=0.15)
    assert both.crossing_of == first
    assert both.crossing_on == alike.crossing_on


def test_where_neither_end_leaves_the_tolerance_no_day_and_no_end_is_named(site):
    still = stored_trend("LT-1", zero=0.0, span=0.0, u_zero=0.01, u_span=0.01)
    assert (still.crossing_on, still.crossing_of) == (None, "")
    assert still.zero_rate == pytest.approx(0.0, abs=1e-9)
