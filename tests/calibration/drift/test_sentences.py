"""The drift in words."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.drift.reads import trend_of
from calibration.drift.sentences import caution_of, figures_of, limit_words, sentence, summary
from calibration.metrology.crossing import HORIZON
from tests.makers import TODAY, an_equipped_point, past_records

pytestmark = pytest.mark.django_db


def test_no_day_is_named_beyond_the_years_that_are_looked_ahead(site):
    """Seven results that agree to a hundredth of the tolerance: the band stays inside."""
    point = an_equipped_point()
    past_records(point, *[{"u_zero": 0.01}] * 7)
    drift = trend_of(point).zero
    assert drift.crossing_on is None
    assert sentence(drift, TODAY).endswith(
        f"The 95 % band stays inside the tolerance for the next {HORIZON:.0f} years."
    )
    expected = dict(figures_of(drift, due=TODAY))["Expected drift"]
    assert expected == f"meets the tolerance not within {HORIZON:.0f} years"


@pytest.mark.parametrize(("growth", "is_said"), [(0.04, True), (0.0, False)])
def test_a_rate_that_changes_is_said_and_its_cause_asked_for(site, growth, is_said):
    """Seven results, each year so much faster than the one before; or as steady as can be."""
    point = an_equipped_point()
    past_records(
        point, *[{"u_zero": 0.01, "found_at_zero": 0.1 * n + growth * n * n} for n in range(7)]
    )
    said = caution_of(trend_of(point).zero)
    assert said.startswith("Its rate is changing, with a probability of") == is_said
    assert ("Look for the cause" in said) == is_said


def test_a_past_day_reads_otherwise_than_one_that_comes():
    assert limit_words(TODAY - dt.timedelta(1), TODAY) == "met the tolerance"
    assert limit_words(TODAY, TODAY) == "reaches the tolerance"


@pytest.mark.parametrize("taken_out", [False, True])
def test_the_summary_says_what_the_picture_shows(site, taken_out):
    point = an_equipped_point()
    past_records(
        point,
        {"u_zero": 0.01},
        {"found_at_zero": 1.3, "left_at_zero": 0.0, "adjusted": True, "u_zero": 0.01},
        {"found_at_zero": 0.4, "left_at_zero": 0.4, "u_zero": 0.01},
    )
    drift = trend_of(point).zero
    said = summary(drift, drift.visits, TODAY, taken_out=taken_out).replace("\xa0", " ")
    assert said.startswith("3 results at zero from ")
    reach = (
        "drift with adjustments taken out −1.20 to +0.40"
        if taken_out
        else "as found +0.10 to +1.30"
    )
    assert (
        f"{reach} % of span, 1 found out of tolerance, adjusted 1 time, tolerance ±1.00 %" in said
    )
