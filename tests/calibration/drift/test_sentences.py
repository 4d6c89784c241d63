"""The drift in words."""

from __future__ import annotations

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


@pytest.mark.parametrize(("growth", "is_said"), [(0.04, True), (0.0, False)])
def test_a_rate_that_changes_is_said_and_its_cause_asked_for(site, growth, is_said):
    """Seven results, each year so much faster than the one before; or as steady as can be."""
    point = an_equipped_point()
    past_records(
        point, *[{"u_zero": 0.01, "found_at_zero": 0.1 * n + growth * n * n} for n in range(7)]
    )
    said = dict(figures_of(trend_of(point).zero, due=TODAY)).get("Changing rate", "")
    assert said.startswith("its rate is changing, with a probability of") == is_said
    assert ("Look for the cause" in said) == is_said
