"""What is computed from two known levels carries the uncertainty of what was read, more of it the
farther away.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from calibration.metrology.two_levels import BEND_PERCENT
from calibration.records.budgets import uncertainty_of
from calibration.records.computed_readings import BEND, third_level, weights_of
from calibration.records.entry import ReadingEntry
from calibration.records.models import Calibration, Reading
from calibration.records.setup import Setup
from tests.makers import a_reading, an_equipped_point

pytestmark = pytest.mark.django_db
DRAWS = 400_000


@pytest.fixture
def setup(site):
    point = an_equipped_point()  # 0.3 to 8.3 m
    return Setup(point, point.installations.get().transmitter, "wetted level by dip", [])


def on_the_line(applied: str, stage: str = "as found", origin: str = "read") -> ReadingEntry:
    current = 4 + 2 * (Decimal(applied) - Decimal("0.3"))
    return a_reading(applied, current, stage=stage, origin=origin)


FOUND = [on_the_line("1.9"), on_the_line("6.7")]  # 20 and 80 %
ENDS = [on_the_line("0.3", origin="computed"), on_the_line("8.3", origin="computed")]
LEFT = [
    on_the_line("1.9", "as left", "computed"),
    on_the_line("6.7", "as left"),
    on_the_line("0.3", "as left", "computed"),
]


def drawn(setup: Setup, readings: list[ReadingEntry], weights: list[float]) -> float:
    """Referee: each component of the readings drawn anew, what is shared once for all of them."""
    uncertainty = uncertainty_of(setup, readings)
    rng, sums = np.random.default_rng(3), np.zeros(DRAWS)
    for component in uncertainty.components:
        parts = np.broadcast_to(component.contribution, len(readings))
        if component.shared:
            sums += rng.normal(size=DRAWS) * (weights * parts).sum()
        else:
            sums += (rng.normal(size=(DRAWS, len(parts))) * (weights * parts)).sum(axis=1)
    return float(sums.std())


def test_zero_and_span_from_two_levels_carry_both_and_the_bend(setup):
    uncertainty = uncertainty_of(setup, [*FOUND, *ENDS])
    bend = BEND_PERCENT / 3**0.5
    for place, weights in ((2, [4 / 3, -1 / 3]), (3, [-1 / 3, 4 / 3])):
        u = np.hypot(drawn(setup, FOUND, weights), bend)
        assert uncertainty.u[place] == pytest.approx(u, rel=0.01)
    assert uncertainty.u[:2] == pytest.approx(
        uncertainty_of(setup, FOUND).u
    )  # what was read is as it was
    budget = uncertainty.budget(2)
    assert next(p for p in budget["components"] if p["name"] == BEND)["assumed"]
    assert sum(p["share"] for p in budget["components"]) == pytest.approx(1)


def test_an_as_left_at_a_level_the_tank_left_rests_on_three_readings(setup):
    weights, beyond = weights_of([*FOUND, *LEFT])
    assert weights[2] == pytest.approx([1, -1, 0, 1, 0])
    assert weights[4] == pytest.approx([4 / 3, -4 / 3, 0, 1, 0])
    assert beyond.tolist() == [False, False, False, False, True]
    uncertainty = uncertainty_of(setup, [*FOUND, *LEFT])
    read = [*FOUND, LEFT[1]]
    assert uncertainty.u[2] == pytest.approx(drawn(setup, read, [1, -1, 1]), rel=0.01)
    assert uncertainty.u[2] > uncertainty.u[3]


def test_after_adjusting_near_the_upper_level_the_lower_one_moved_with_it():
    left = [on_the_line("6.7", "as left"), on_the_line("8.3", "as left", "computed")]
    weights, beyond = weights_of([*FOUND, *left])
    # The line through 1.9 m less what 6.7 m was, plus what it is now: at 8.3 m, 4/3 of the way.
    assert weights[3] == pytest.approx([-1 / 3, 1 / 3, 1, 0])
    assert beyond.tolist() == [False, False, False, True]


def test_after_adjusting_near_the_lower_level_the_upper_one_moved_with_it():
    left = [on_the_line("1.9", "as left"), on_the_line("6.7", "as left", "computed")]
    weights, beyond = weights_of([*FOUND, *left])
    assert weights[3] == pytest.approx([-1, 1, 1, 0])
    assert not beyond.any()


def test_two_levels_read_as_left_have_a_line_of_their_own():
    left = [
        on_the_line("6.7", "as left"),
        on_the_line("1.9", "as left"),
        on_the_line("4.3", "as left", "computed"),
    ]
    weights, _ = weights_of([*FOUND, *left])
    assert weights[4] == pytest.approx([0, 0, 0.5, 0.5, 0])


def test_what_was_read_stays_itself_and_as_it_stands_too():
    readings = [on_the_line("4.3", "as it stands"), *FOUND]
    weights, beyond = weights_of(readings)
    assert weights == pytest.approx(np.eye(3))
    assert not beyond.any()


def test_the_digits_of_a_computed_reading_tell_nothing_of_the_display(setup):
    fine = ReadingEntry("as found", 3, Decimal("0.3"), Decimal("4.00123"), origin="computed")
    assert uncertainty_of(setup, [*FOUND, fine]).u[0] == uncertainty_of(setup, FOUND).u[0]


def two_levels(stands: str, level: str = "4.3") -> tuple[Calibration, list[Reading]]:
    """Two levels on a perfect line, and what was read as it stood."""
    record = Calibration(lower=Decimal("0.3"), upper=Decimal("8.3"), signal="4-20mA")

    def row(stage: str, at: str, observed: str, origin: str = "read") -> Reading:
        return Reading(
            stage=stage,
            applied=Decimal(at),
            observed=Decimal(observed),
            origin=origin,
            expanded_percent=0.2,
        )

    rows = [row("as found", "1.9", "7.2"), row("as found", "6.7", "16.8")]
    return record, [
        row("as it stands", level, stands),
        *rows,
        row("as found", "0.3", "4", "computed"),
    ]


def test_a_third_level_checks_the_line():
    third = third_level(*two_levels("12.08"))
    assert third.deviation == pytest.approx(0.5)
    assert third.limit == pytest.approx(0.2 * np.hypot(1, np.hypot(0.5, 0.5)))
    assert third_level(*two_levels("7.9", level="2.2")) is None  # too near the first level


def test_without_an_uncertainty_the_third_level_has_no_limit():
    record, rows = two_levels("12.08")
    for row in rows:
        row.expanded_percent = None
    assert third_level(record, rows).limit == 0.0


def test_the_limit_is_of_the_least_certain_reading_as_found_or_as_it_stands():
    """An as left, or a computed value with the uncertainty of two, says nothing of the line."""
    record, rows = two_levels("12.08")
    rows.append(Reading(stage="as left", applied=Decimal(2), expanded_percent=0.9))
    rows[3].expanded_percent, rows[2].expanded_percent = 0.7, 0.3
    assert third_level(record, rows).limit == pytest.approx(0.3 * np.hypot(1, np.hypot(0.5, 0.5)))


def test_the_line_goes_through_the_lowest_and_the_highest_level():
    record, rows = two_levels("12.08")
    rows.append(
        Reading(
            stage="as found", applied=Decimal("4.3"), observed=Decimal("13"), expanded_percent=0.2
        )
    )
    assert third_level(record, rows).deviation == pytest.approx(0.5)


def test_one_level_makes_no_line():
    record, rows = two_levels("12.08")
    assert third_level(record, [rows[0], rows[1], rows[3]]) is None
    rows[0].observed = None
    assert third_level(record, rows) is None


def test_a_line_without_computed_readings_is_not_checked():
    record, rows = two_levels("12.08")
    assert third_level(record, rows[:-1]) is None
    assert third_level(record, rows[1:]) is None


def test_without_two_levels_a_computed_reading_stands_for_itself(setup):
    lone = [on_the_line("1.9"), on_the_line("0.3", origin="computed")]
    assert weights_of(lone)[0] == pytest.approx(np.eye(2))
    assert uncertainty_of(setup, lone).u[1] > 0
