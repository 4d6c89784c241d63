"""From readings to errors, bands, verdicts and figures, each worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from calibration.policies.models import Policy
from calibration.records.entry import ReadingEntry
from calibration.records.judging import (
    Range,
    figure_columns,
    judge,
    judge_stages,
    policy_of,
    rule_of,
    verdicts_by,
)
from calibration.records.setup import Setup
from plant.level.tolerance import Limits
from tests.makers import a_point, a_reading, a_run, a_transmitter

LEVEL = Range(0.3, 8.3, "4-20mA", Limits.of(1.0))


def only(result):
    [reading] = result.readings
    return reading


# ---- one reading ----
def test_the_error_is_the_share_of_the_output_span_by_which_it_is_wrong():
    reading = only(judge([a_reading("4.3", "12.08")], LEVEL))
    assert reading.error_percent == pytest.approx(0.5)
    assert (reading.expected, reading.band, reading.verdict) == (12, "measuring", "pass")
    assert (reading.applied, reading.observed) == (Decimal("4.3"), Decimal("12.08"))


def test_an_expected_output_is_kept_to_five_digits():
    reading = only(judge([a_reading("1", "5.4")], Range(0.0, 7.0, "4-20mA", Limits.of(1.0))))
    assert reading.expected == Decimal("6.28571")


@pytest.mark.parametrize(
    ("lower", "upper", "shown", "error"),
    [(0.3, 8.3, "4.34", 0.5), (8.3, 0.3, "4.34", 0.5), (0.3, 8.3, "4.22", -1.0)],
)
def test_an_indication_decides_where_one_was_read(lower, upper, shown, error):
    """Too high a level is an error above zero, whichever way the range runs."""
    entry = a_reading("4.3", "12.5", indication=Decimal(shown))
    reading = only(judge([entry], Range(lower, upper, "4-20mA", Limits.of(1.0))))
    assert reading.error_percent == pytest.approx(error)
    assert reading.observed_indication == Decimal(shown)


def test_an_indication_without_an_output_counts_as_measuring():
    entry = ReadingEntry("as found", 1, Decimal("4.3"), None, indication=Decimal("4.3"))
    reading = only(judge([entry], LEVEL))
    assert (reading.observed, reading.band, reading.verdict) == (None, "measuring", "pass")


@pytest.mark.parametrize(
    ("observed", "verdict"),
    [("13.6", "fail"), ("12.16", "pass"), ("12.161", "fail"), ("11.84", "pass")],
)
def test_the_tolerance_itself_still_passes(observed, verdict):
    assert only(judge([a_reading("4.3", observed)], LEVEL)).verdict == verdict


def test_a_reading_keeps_its_place_in_the_work():
    entry = ReadingEntry("as left", 7, Decimal("4.3"), Decimal(12), run=2, rising=False)
    reading = only(judge([replace(entry, origin="computed")], LEVEL))
    assert (reading.stage, reading.sequence, reading.run) == ("as left", 7, 2)
    assert (reading.rising, reading.origin) == (False, "computed")


# ---- a failure ----
@pytest.mark.parametrize(("observed", "band"), [("3.5", "failure low"), ("21.5", "failure high")])
def test_a_current_that_reports_a_failure_fails_and_stays_out_of_the_figures(observed, band):
    wide = LEVEL._replace(limits=Limits.of(200.0))
    result = judge([a_reading("0.3", "4.08"), a_reading("4.3", observed)], wide)
    assert [r.band for r in result.readings] == ["measuring", band]
    assert [r.verdict for r in result.readings] == ["pass", "fail"]
    assert result.shows_failure
    assert result.errors == pytest.approx([0.5])
    assert result.figures.n == 1
    assert result.figures.at_zero == pytest.approx(0.5)
    assert result.verdict == "fail"


def test_where_every_reading_reports_a_failure_there_are_no_figures():
    result = judge([a_reading("4.3", "3.5")], LEVEL)
    assert (result.errors, result.figures) == ([], None)
    columns = figure_columns("found", result)
    assert columns["found_largest"] is columns["found_hysteresis"] is None
    assert columns["found_verdict"] == "fail"


def test_a_sound_stage_shows_no_failure():
    assert not judge([a_reading("4.3", "12")], LEVEL).shows_failure


def test_a_stage_without_readings_has_no_verdict():
    result = judge([], LEVEL)
    assert (result.readings, result.errors, result.figures) == ([], [], None)
    assert (result.verdict, result.shows_failure) == ("", False)


def test_a_risk_of_two_and_a_half_per_cent_is_taken_to_the_last_digit():
    """The chance to be out is 2.49 %: just what the policy bears."""
    policy = Policy(rule="limited risk", risk_percent=Decimal("2.5"))
    known = SimpleNamespace(u=np.array([0.1]), dof=np.array([np.inf]))
    errors = np.array([1 - 0.1 * norm.isf(0.0249)])
    assert verdicts_by(policy, errors, Limits.of(1.0), known) == ["pass"]
    policy.risk_percent = Decimal("2.48")
    assert verdicts_by(policy, errors, Limits.of(1.0), known) == ["inconclusive"]


# ---- the figures of a stage ----
def test_the_figures_of_a_stage_as_a_record_keeps_them():
    found = judge(a_run([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.15]), LEVEL)
    assert figure_columns("found", found) == {
        "found_errors": pytest.approx([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.15], abs=1e-3),
        "found_largest": pytest.approx(0.8, abs=1e-3),
        "found_at_zero": pytest.approx(0.125, abs=1e-3),
        "found_at_span": pytest.approx(0.5, abs=1e-3),
        "found_hysteresis": pytest.approx(0.6, abs=1e-3),
        "found_verdict": "pass",
    }


def test_rising_and_falling_are_compared_within_one_run_only():
    up, down = a_reading("4.3", "12"), a_reading("4.3", "12.08", rising=False)
    same = judge([up, down], LEVEL)
    assert same.figures.hysteresis == pytest.approx(0.5)
    later = judge([up, replace(down, run=2)], LEVEL)
    assert later.figures.hysteresis is None


# ---- all stages of one test ----
@pytest.fixture
def setup(site) -> Setup:
    return Setup(a_point(), a_transmitter(), "wetted level by dip", [])


def stages(**readings: list[ReadingEntry]) -> dict[str, list[ReadingEntry]]:
    empty: dict[str, list[ReadingEntry]] = {"as it stands": [], "as found": [], "as left": []}
    return empty | {stage.replace("_", " "): rows for stage, rows in readings.items()}


def test_each_stage_carries_the_uncertainty_of_its_own_readings(setup):
    """A tape is longer the deeper it dips, so U grows with the level."""
    test = stages(
        as_it_stands=[a_reading("8.3", "20", stage="as it stands")],
        as_found=[a_reading("0.3", "4"), a_reading("4.3", "12")],
        as_left=[a_reading("2.3", "8", stage="as left")],
    )
    results, columns = judge_stages(test, LEVEL, setup, Policy())
    looked, zero, middle, left = (
        r.expanded_percent for stage in results.values() for r in stage.readings
    )
    assert looked > middle > left > zero
    # A look as it stands is no part of the test: the budget is that of the worst test point.
    assert columns["budget"]["at_percent"] == pytest.approx(50.0)
    assert columns["expanded_percent"] == pytest.approx(middle)
    assert columns["decision_rule"] == "simple acceptance"


def test_a_look_alone_has_an_uncertainty_and_no_budget(setup):
    test = stages(as_it_stands=[a_reading("4.3", "12", stage="as it stands")])
    results, columns = judge_stages(test, LEVEL, setup, Policy())
    assert only(results["as it stands"]).expanded_percent > 0
    assert set(columns) == {"decision_rule"}
    assert (results["as found"].verdict, results["as left"].verdict) == ("", "")


def test_a_test_without_readings_has_neither(setup):
    results, columns = judge_stages(stages(), LEVEL, setup, Policy())
    assert [result.verdict for result in results.values()] == ["", "", ""]
    assert set(columns) == {"decision_rule"}


@pytest.mark.django_db
def test_a_guard_band_is_so_many_u_of_each_reading(setup):
    """U is about 0.1 % of span here: an error of 0.95 % passes half a U from the limit."""
    test = stages(as_found=[a_reading("4.3", "12.152")])
    verdicts = {}
    for share in ("0.2", "1", "2"):
        policy = Policy(rule="guard band", guard_share=Decimal(share))
        results, columns = judge_stages(test, LEVEL, setup, policy)
        verdicts[share] = results["as found"].verdict
        assert columns["budget"]["rule"]["guard_share"] == share
    u = only(results["as found"]).expanded_percent
    assert 0.05 / 1 < u < 0.05 / 0.2
    assert verdicts == {"0.2": "pass", "1": "inconclusive", "2": "inconclusive"}


def test_a_record_s_rule_is_read_back_as_it_was_kept():
    policy = Policy(
        rule="limited risk",
        guard_share=Decimal("0.80"),
        risk_percent=Decimal("2.5"),
        least_tur=Decimal("3.0"),
    )
    again = policy_of(rule_of(policy))
    for name in ("rule", "guard_share", "risk_percent", "least_tur"):
        assert getattr(again, name) == getattr(policy, name)


def test_the_range_of_a_record_is_that_of_its_columns():
    row = {"lower": Decimal("0.3"), "upper": Decimal("8.3"), "signal": "1-5V"}
    given = {"tolerance": Decimal(40), "tolerance_down": None, "tolerance_sides": "both"}
    against = Range.of(row | given | {"tolerance_percent": 0.5})
    assert against == Range(0.3, 8.3, "1-5V", Limits.of(0.5))
    assert against.ends == {"lower": 0.3, "upper": 8.3}
    reading = only(judge([a_reading("4.3", "3.02")], against))
    assert (reading.error_percent, reading.verdict) == (pytest.approx(0.5), "pass")
    assert np.isclose(float(reading.expected), 3.0)
