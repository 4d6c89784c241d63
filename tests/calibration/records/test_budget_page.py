"""A record's budget and decision rule as its page words them."""

from __future__ import annotations

import pytest

from calibration.records.budget_page import budget_of, guard_of, tur_is_low
from calibration.records.models import Calibration

LARGER = {
    "name": "datum plate and bottom",
    "value": 2.0,
    "shape": "rectangular",
    "divisor": 1.7320508,
    "sensitivity": 0.0125,
    "dof": None,
    "u": 0.0144338,
    "share": 0.8,
    "shared": True,
    "assumed": True,
}
SMALLER = LARGER | {"name": "meter resolution", "share": 0.2, "shared": False, "assumed": False}
BUDGET = {
    "at_percent": 99.6,
    "u": 0.061237,
    "U": 0.12345,
    "k": 2.016,
    "dof": 47.6,
    "probability": 0.95,
    "by": "one rectangular component",
    "components": [LARGER, SMALLER],
}
RULE = {
    "rule": "simple acceptance",
    "guard_share": "0.80",
    "risk_percent": "2.50",
    "least_tur": "4.0",
}


def with_budget(*, rule: dict | None = None, tur: float | None = 8.17, **budget) -> Calibration:
    whole = BUDGET | budget | ({"rule": RULE | rule} if rule is not None else {})
    return Calibration(budget=whole, tur=tur, expanded_percent=0.12345)


def test_a_certified_deviation_and_a_standard_of_no_part_are_named():
    row = {"standard": "R-250", "deviation": -2.5, "unit": "Ω", "most": 1.2376}
    shown = budget_of(
        with_budget(
            components=[SMALLER | {"standard": "MM-04"}, LARGER],
            corrections=[row],
            beside=["MM-05", "MM-06"],
        )
    )
    assert shown["corrections"] == ["R-250, −2.5\xa0Ω: up to 1.238 % of span"]
    assert shown["beside"] == "MM-05, MM-06"
    assert [part.standard for part in shown["parts"]] == ["MM-04", ""]
    before = budget_of(with_budget())
    assert (before["corrections"], before["beside"]) == ([], "")


def test_the_figures_have_the_digits_that_their_uncertainty_allows():
    shown = budget_of(with_budget())
    expected = {
        "u": "0.0612",
        "expanded": "0.123",
        "k": "2.02",
        "dof": "48",
        "at": "100",
        "probability": "95",
        "tur": "8.2",
        "least": "4.0",
        "by": "the one rectangular component that dominates",
    }
    assert {name: shown[name] for name in expected} == expected
    assert shown["assumed"]


def test_each_component_has_its_bar_beside_the_largest():
    larger, smaller = budget_of(with_budget())["parts"]
    assert (larger.name, larger.value, larger.shape) == (LARGER["name"], "2", "rectangular")
    assert (larger.divisor, larger.sensitivity, larger.u) == ("1.73", "0.0125", "0.0144")
    assert (larger.share, larger.width) == ("80", 100.0)
    assert (larger.assumed, larger.shared) == (True, True)
    assert (smaller.share, smaller.width) == ("20", 25.0)
    assert (smaller.assumed, smaller.shared) == (False, False)


def test_degrees_of_freedom_may_be_infinite_and_a_ratio_unknown():
    shown = budget_of(with_budget(dof=None, tur=None))
    assert (shown["dof"], shown["tur"], shown["is_low"]) == ("infinite", "", False)


def test_a_budget_of_measured_components_assumes_nothing():
    assert not budget_of(with_budget(components=[SMALLER]))["assumed"]


def test_a_record_without_a_budget_shows_none():
    assert budget_of(Calibration(budget=None)) is None


@pytest.mark.parametrize(("tur", "low"), [(3.99, True), (4.0, False), (None, False)])
def test_a_ratio_is_low_below_the_least_that_was_asked(tur, low):
    assert tur_is_low(with_budget(tur=tur, rule={})) is low


def test_the_ratio_asked_is_that_of_the_record_s_day():
    assert tur_is_low(with_budget(tur=5.0, rule={"least_tur": "6"}))
    assert budget_of(with_budget(rule={"least_tur": "6"}))["least"] == "6.0"


@pytest.mark.parametrize(
    ("rule", "words", "guard"),
    [
        ("simple acceptance", "an error within the tolerance passes", 0.0),
        ("guard band", "Guard band of 0.8 U: passes only inside", 0.8 * 0.12345),
        ("limited risk", "Risk of a false accept at most 2.5 %", 0.0),
    ],
)
def test_each_rule_is_said_in_words_with_its_numbers(rule, words, guard):
    record = with_budget(rule={"rule": rule})
    assert words in budget_of(record)["rule"]
    assert guard_of(record) == pytest.approx(guard)


def test_without_an_uncertainty_there_is_no_guard_band():
    record = with_budget(rule={"rule": "guard band"})
    record.expanded_percent = None
    assert guard_of(record) == 0.0
