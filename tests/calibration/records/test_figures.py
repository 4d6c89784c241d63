"""The figures of a record in the terms of IEC 61298-2: the dead band, where the input turned in
small steps.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from calibration.records.figures import figure_rows
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


@pytest.mark.parametrize("hidden", ["observed", "origin"])
def test_what_was_not_read_takes_no_part(hidden):
    rows = readings(*SMALL_STEPS)
    for row in rows[2:]:
        if hidden == "origin":
            row.origin = "computed"
        else:
            row.observed, row.observed_indication = None, Decimal("5")
    assert dead_band(rows) is None
