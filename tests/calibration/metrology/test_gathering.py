"""Rows gathered into histories: what cannot be judged, and why."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import gather
from calibration.metrology.jumps import flag_jumps
from calibration.metrology.wander import default_prior, outlook


def gathered(group, years, **other):
    usual = {"found": 0.1, "left": 0.0, "adjusted": False, "u": 0.05, "shared": 0.0} | other
    return gather(np.array(group), np.array(years, dtype=float), *usual.values())


def test_what_two_readings_share_is_not_below_zero():
    with pytest.raises(CannotFit, match="between zero and u_reading"):
        gathered([1, 1], [0, 1], shared=-0.5)


def test_where_nothing_can_be_judged_the_first_reason_is_given():
    with pytest.raises(CannotFit, match="two visits on different days"):
        gathered([1, 2, 2], [0, 0, 1], u=np.array([0.05, 0.0, 0.0]))


def test_a_very_long_history_of_very_good_readings_stays_within_numbers():
    visits = 300
    readings = 0.001 * np.sin(np.arange(visits))
    made = gathered([1] * visits, np.arange(visits) / 52, found=readings, left=readings, u=0.0005)
    prior = default_prior(0.5)
    assert np.isfinite(outlook(made.histories, prior).weights).all()
    assert np.isfinite(flag_jumps(made.histories, prior).p_value).all()
