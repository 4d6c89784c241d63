"""Output stage and primary element, read from records of both kinds."""

import pytest

from calibration.drift.stages import stages_of
from tests.calibration.fleet.test_acts import recorded_point
from tests.makers import an_equipped_point, past_records

pytestmark = pytest.mark.django_db


def test_each_stage_has_its_own_rate(site):
    # The output drifts by 0.02 % a year, the whole chain by 0.10: 0.08 is left for the probe.
    errors = [0.02 * n if n % 2 else 0.10 * n for n in range(10)]
    point = recorded_point("LT-201", errors, simulated=range(1, 10, 2))
    output, primary = stages_of(point.pk, "zero", tolerance=1.0)
    assert (output.name, output.observed) == ("output stage", True)
    assert output.rate == pytest.approx(0.02, abs=0.02)
    assert primary.rate == pytest.approx(0.08, abs=0.03)
    assert output.low < output.rate < output.high
    assert primary.low < 0.08 < primary.high


def test_one_kind_of_reading_tells_no_stages_apart(site):
    point = recorded_point("LT-201", [0.0, 0.1, 0.2])
    assert stages_of(point.pk, "span", tolerance=1.0) == []


SIMULATED = {"way": "simulated output"}
FAILURE = {"shows_failure": True}
BOTH_TWICE = ({}, SIMULATED, {}, SIMULATED)


def test_readings_of_both_kinds_tell_stages_until_a_failure(site):
    for tag, later, expected in (
        ("LT-1", (), 2),
        ("LT-2", (FAILURE, {}, {}), 0),
        ("LT-3", (FAILURE, *BOTH_TWICE), 2),
        ("LT-4", (FAILURE, *BOTH_TWICE, FAILURE, *BOTH_TWICE, FAILURE, {}, {}), 0),
    ):
        point = an_equipped_point(tag)
        past_records(point, *BOTH_TWICE, *later)
        assert len(stages_of(point.pk, "zero", tolerance=1.0)) == expected, tag


def test_an_uncertainty_that_is_not_stated_is_a_twentieth_of_the_tolerance(site):
    visits = [way | {"found_at_zero": 0.1 * n} for n, way in enumerate(2 * BOTH_TWICE)]
    silent, stated = an_equipped_point("LT-1"), an_equipped_point("LT-2")
    past_records(silent, *visits)
    past_records(stated, *(visit | {"u_zero": 0.1} for visit in visits))
    assert stages_of(silent.pk, "zero", tolerance=2.0) == stages_of(
        stated.pk, "zero", tolerance=2.0
    )
    assert (
        stages_of(silent.pk, "zero", tolerance=1.0)[0].low
        > stages_of(stated.pk, "zero", tolerance=1.0)[0].low
    )


def test_an_end_that_is_none_is_refused(site):
    with pytest.raises(ValueError, match="neither zero nor span"):
        stages_of(1, "middle", tolerance=1.0)
