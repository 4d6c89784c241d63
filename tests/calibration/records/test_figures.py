"""The figures of a record in the terms of IEC 61298-2: the dead band, where the input turned in
small steps.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from calibration.records.figures import (
    base_unit_of,
    figure_rows,
    figures_unit_of,
    share_of_span,
    units_of,
)
from calibration.records.models import Calibration, Reading

RECORD = Calibration(
    lower=Decimal(0), upper=Decimal(10), signal="4-20mA", tolerance_percent=1.0
)  # 0.1 m are 1 % of span


def readings(*pairs: tuple[str, str], stage: str = "as found", run: int = 1) -> list[Reading]:
    """Applied level in m and output in mA, in order of time."""
    return [
        Reading(
            stage=stage,
            run=run,
            sequence=n,
            applied=Decimal(applied),
            observed=Decimal(observed),
            expected=Decimal(observed),
            error_percent=0.1,
        )
        for n, (applied, observed) in enumerate(pairs, 1)
    ]


# Up to 5.02 m, then down: at 5.00 m the output has not moved, at 4.99 m it has.
SMALL_STEPS = [
    ("5", "12.000"),
    ("5.02", "12.032"),
    ("5.01", "12.032"),
    ("5", "12.032"),
    ("4.99", "12.016"),
]


def dead_band(rows: list[Reading]) -> tuple[str, str] | None:
    shown = {words: (found, left) for words, found, left in figure_rows(RECORD, rows)}
    return shown.get("Dead band")


def test_the_dead_band_is_how_far_the_input_went_before_the_output_moved():
    assert dead_band(readings(*SMALL_STEPS)) == ("0.20 to 0.30 (1 reversal)", "")


def test_the_dead_band_of_as_left_stands_in_its_own_column():
    rows = [
        *readings(("0", "4"), ("10", "20"), ("0", "4")),
        *readings(*SMALL_STEPS, stage="as left"),
    ]
    assert dead_band(rows) == ("", "0.20 to 0.30 (1 reversal)")


def test_an_output_that_does_not_move_after_a_reversal_is_said():
    stuck = [*SMALL_STEPS[:4], ("4.99", "12.032")]
    assert dead_band(readings(*stuck)) == (
        "more than 0.30, the output did not move (1 reversal)",
        "",
    )


def test_the_usual_test_points_show_no_dead_band():
    up_and_down = [("0", "4"), ("5", "12"), ("10", "20"), ("5", "12.1"), ("0", "4")]
    assert dead_band(readings(*up_and_down)) is None


def test_a_reversal_between_two_runs_is_none():
    rows = [*readings(*SMALL_STEPS[:2]), *readings(*SMALL_STEPS[2:], run=2)]
    assert dead_band(rows) is None


def test_a_change_below_three_digits_of_the_meter_is_no_movement():
    # The same levels read with a meter of 0.01 mA: 0.02 mA is less than three of its digits.
    coarse = [(level, observed[:-1]) for level, observed in SMALL_STEPS]
    assert dead_band(readings(*coarse)) == (
        "more than 0.30, the output did not move (1 reversal)",
        "",
    )


@pytest.mark.parametrize("start", ["12.0", "12.003", "4.8", "7.2", "19.2", "13.605"])
def test_a_change_of_just_three_digits_is_a_movement_wherever_the_output_stands(start):
    at = Decimal(start)
    path = [("5", at), ("5.02", at + Decimal("0.031")), ("5.01", at + Decimal("0.031"))]
    path += [("5.00", at + Decimal("0.028"))]
    shown = dead_band(readings(*((level, str(output)) for level, output in path)))
    assert shown == ("0.10 to 0.20 (1 reversal)", "")


@pytest.mark.parametrize("hidden", ["observed", "origin"])
def test_what_was_not_read_takes_no_part(hidden):
    rows = readings(*SMALL_STEPS)
    for row in rows[2:]:
        if hidden == "origin":
            row.origin = "computed"
        else:
            row.observed, row.observed_indication = None, Decimal("5")
    assert dead_band(rows) is None


# ---- where a dead band begins and ends ----
@pytest.mark.parametrize(("step", "shown"), [("0.2", True), ("0.21", False)])
def test_a_step_of_two_percent_of_span_is_still_small(step, shown):
    level, step = Decimal(5), Decimal(step)
    path = [level, level + step, level + 2 * step, level + step, level]
    seen = ["12.000", "12.4", "12.8", "12.8", "12.4"]
    rows = readings(*((str(at), output) for at, output in zip(path, seen, strict=True)))
    assert (dead_band(rows) is not None) is shown


def test_the_widest_of_two_dead_bands_is_shown_with_all_reversals():
    narrow = [("8", "16.8"), ("8.02", "16.832"), ("8.01", "16.832"), ("8.0", "16.8")]
    rows = readings(*SMALL_STEPS, *narrow)
    assert dead_band(rows) == ("0.20 to 0.30 (2 reversals)", "")


def test_one_that_never_moved_is_wider_than_any_that_did():
    stuck = [("8", "16.8"), ("8.02", "16.832"), ("8.01", "16.832"), ("8.0", "16.832")]
    found = dead_band(readings(*SMALL_STEPS, *stuck))[0]
    assert found == "more than 0.20, the output did not move (2 reversals)"


def test_readings_are_taken_in_the_order_of_their_runs():
    late, early = readings(*SMALL_STEPS, run=2), readings(("0", "4"), ("10", "20"))
    assert dead_band([*late, *early]) == ("0.20 to 0.30 (1 reversal)", "")


# ---- the other figures ----
def of_errors(errors: list[float], stage: str = "as found") -> list[Reading]:
    """Up and down through 0, 50 and 100 % of span, with these errors."""
    places = [("0", True), ("5", True), ("10", True), ("5", False), ("0", False)]
    return [
        Reading(
            stage=stage,
            sequence=n,
            applied=Decimal(applied),
            observed=Decimal(4),
            expected=Decimal(4),
            error_percent=error,
            rising=rising,
        )
        for n, (error, (applied, rising)) in enumerate(zip(errors, places, strict=True), 1)
    ]


def shown(rows: list[Reading], record: Calibration = RECORD) -> dict[str, tuple[str, str]]:
    return {words: (found, left) for words, found, left in figure_rows(record, rows)}


def test_each_figure_stands_in_its_stage_and_only_an_error_has_a_sign():
    rows = [*of_errors([0.1, 0.5, 0.3, 0.7, 0.1]), *of_errors([-0.1, 0, 0, 0, -0.1], "as left")]
    table = shown(rows)
    assert table["Inaccuracy, lowest error"] == ("+0.10", "−0.10")
    assert table["Inaccuracy, highest error"] == ("+0.70", "0.00")
    assert table["Hysteresis"] == ("0.20", "0.00")
    assert table["Non-linearity, terminal-based"] == ("0.40", "0.05")
    assert "Repeatability" not in table


def test_a_tolerance_under_half_a_percent_shows_a_digit_more():
    fine = Calibration(lower=0, upper=10, signal="4-20mA", tolerance_percent=0.25)
    table = shown(of_errors([0.1, 0.5, 0.3, 0.7, 0.1]), fine)
    assert table["Inaccuracy, highest error"] == ("+0.700", "")


def test_a_reading_that_reports_a_failure_stays_out_of_the_figures():
    rows = of_errors([0.1, 0.5, 0.3, 0.7, 90.0])
    rows[-1].band = "failure high"
    assert shown(rows)["Inaccuracy, highest error"] == ("+0.70", "")


def test_two_points_show_no_bend():
    rows = of_errors([0.1, 0.5, 0.3, 0.7, 0.1])
    assert set(shown(rows[:2])) == {"Inaccuracy, lowest error", "Inaccuracy, highest error"}


def test_a_stage_without_readings_has_no_figures():
    assert figure_rows(RECORD, []) == []


# ---- one per cent of span in the units people think in ----
@pytest.mark.parametrize(
    ("record", "expected"),
    [
        ({"unit": "m", "signal": "4-20mA"}, (0.16, "mA", 100.0, "mm")),
        ({"unit": "mm", "signal": "0-10V"}, (0.1, "V", 0.1, "mm")),
        ({"unit": "m3", "quantity": "volume", "signal": "1-5V"}, (0.04, "V", 0.1, "m3")),
        ({"unit": "L", "quantity": "volume", "signal": "4-20mA"}, (0.16, "mA", 0.0001, "m3")),
    ],
)
def test_one_percent_of_span_in_the_signal_and_in_level_or_volume(record, expected):
    signal, signal_unit, base, base_unit = expected
    for ends in ({"lower": Decimal(2), "upper": Decimal(12)}, {"lower": 12, "upper": 2}):
        units = units_of(Calibration(**({"quantity": "level"} | record | ends)))
        assert units == (pytest.approx(signal), signal_unit, pytest.approx(base), base_unit)


@pytest.mark.parametrize(
    ("tolerance", "decimals"), [(20.0, 1), (2.0, 1), (1.99, 2), (0.5, 2), (0.1, 3)]
)
def test_an_error_of_volume_is_shown_to_a_twentieth_of_its_tolerance(tolerance, decimals):
    """Of 0 to 100 m³ one per cent is a cubic metre: ± 0.5 % are told apart by 0.025 m³."""
    facts = {"quantity": "volume", "unit": "m3", "lower": 0, "upper": 100, "signal": "4-20mA"}
    base = base_unit_of(Calibration(tolerance_percent=tolerance, **facts))
    assert base == ("m3", pytest.approx(1.0), decimals)
    assert 10**-decimals <= tolerance / 20 + 1e-9


def test_a_custody_record_s_figures_are_in_millimetres_like_its_tolerance():
    facts = {"quantity": "level", "unit": "m", "lower": 0, "upper": 10, "signal": "4-20mA"}
    custody = Calibration(tolerance_percent=0.03, tolerance_unit="mm", **facts)
    assert figures_unit_of(custody) == ("mm", pytest.approx(100.0), 1)
    table = shown(of_errors([0.01, 0.05, 0.03, 0.07, 0.01]), custody)
    assert table["Inaccuracy, highest error"] == ("+7.0", "")
    assert table["Hysteresis"] == ("2.0", "")
    other = Calibration(tolerance_percent=0.3, tolerance_unit="%", **facts)
    assert figures_unit_of(other) == ("%", 1.0, 3)


def test_the_share_of_span_runs_from_the_lower_range_value():
    turned = Calibration(lower=Decimal(10), upper=Decimal(0))
    assert share_of_span(turned, Reading(applied=Decimal("2.5"))) == pytest.approx(75.0)
