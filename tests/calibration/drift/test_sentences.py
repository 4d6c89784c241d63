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
