import json
from pathlib import Path

import numpy as np
import pytest

from plant.level.density import density_shift
from plant.level.signals import SIGNALS, ZeroSpan

CASES = json.loads(
    (Path(__file__).parents[3] / "fixtures/reference/trade.json").read_text(encoding="utf-8")
)
RANGE = {"lower": 0.0, "upper": 8.0}


def test_wrong_density_reads_as_worked_by_hand():
    case = next(c for c in CASES if c["id"] == "TRD-07")
    given, expected = case["inputs"], case["expected"]
    shift = density_shift(
        given["true_m"],
        lower=given["LRV_m"],
        upper=given["URV_m"],
        at_calibration=given["set_kg_m3"],
        now=given["now_kg_m3"],
    )
    assert shift.indicated / 100 * 8 == pytest.approx(expected["reads_m"], abs=5e-6)
    assert shift.error == pytest.approx(expected["error_pct_span"], abs=5e-5)
    assert shift.output_error == pytest.approx(0.16 * expected["error_pct_span"], abs=1e-5)


def test_only_what_stands_above_the_foot_is_weighed():
    shift = density_shift([0.5, 1.0, 5.0], at_calibration=900, now=990, foot=1.0, **RANGE)
    assert np.asarray(shift.error) / 100 * 8 == pytest.approx([0.0, 0.0, 0.4])


def test_reverse_action_mirrors_the_error():
    direct = density_shift(6.0, at_calibration=915, now=897, **RANGE)
    mirrored = density_shift(6.0, lower=8.0, upper=0.0, at_calibration=915, now=897)
    assert mirrored.error == pytest.approx(-direct.error)
    volts = density_shift(6.0, at_calibration=915, now=897, signal=SIGNALS["1-5V"], **RANGE)
    assert volts.output_error == pytest.approx(direct.output_error / 4)


@pytest.mark.parametrize(("name", "value"), [("at_calibration", 0.0), ("now", -1), ("now", np.nan)])
def test_a_density_must_be_above_zero(name, value):
    with pytest.raises(ValueError, match=name):
        density_shift(6.0, **{"at_calibration": 900, "now": 900, **RANGE, name: value})
    with pytest.raises(ZeroSpan):
        density_shift(6.0, lower=1.0, upper=1.0, at_calibration=900, now=910)
