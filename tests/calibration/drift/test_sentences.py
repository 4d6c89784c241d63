"""The drift in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calibration.drift.reads import trend_of
from calibration.drift.sentences import figures_of, sentence
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
    days = dict(figures_of(drift, due=TODAY))["Crossing day"]
    assert f"the expected drift meets the tolerance not within {HORIZON:.0f} years" in days


def test_a_rate_that_changes_is_said_and_its_cause_asked_for(site):
    """Seven results, each year 0.08 % of span faster than the last, in a family where rates do."""
    point = an_equipped_point()
    past_records(point, *[{"u_zero": 0.01, "found_at_zero": 0.04 * n * n} for n in range(7)])
    drift = trend_of(point).zero
    assert "Changing rate" not in dict(figures_of(drift, due=TODAY))
    weights = drift.known_outlook.weights * 0
    weights[-1] = 1.0
    changes = drift.known_outlook.changes * 0
    changes[-1] = 0.01
    sure = replace(drift, outlook=replace(drift.known_outlook, weights=weights, changes=changes))
    said = dict(figures_of(sure, due=TODAY))["Changing rate"]
    assert "its rate is changing, with a probability of more than 99.9" in said.replace("\xa0", " ")
    assert "Look for the cause" in said
