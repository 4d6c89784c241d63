"""What is computed from two known levels carries the uncertainty of what was read, more of it the
farther away.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from calibration.metrology.two_levels import BEND_PERCENT
from calibration.records.budgets import Test as Trial
from calibration.records.computed import BEND, third_level, weights_of
from calibration.records.models import Calibration, Reading
from calibration.records.sent import SentReading
from tests.makers import a_reading, an_equipped_point

pytestmark = pytest.mark.django_db
DRAWS = 400_000


@pytest.fixture
def trial(site):
    point = an_equipped_point()  # 0.3 to 8.3 m
    return Trial(point, point.installations.get().transmitter, "wetted level by dip", [])


def on_the_line(applied: str, stage: str = "as found", origin: str = "read") -> SentReading:
    current = 4 + 2 * (Decimal(applied) - Decimal("0.3"))
    return a_reading(applied, current, stage=stage, origin=origin)


FOUND = [on_the_line("1.9"), on_the_line("6.7")]  # 20 and 80 %
ENDS = [on_the_line("0.3", origin="computed"), on_the_line("8.3", origin="computed")]
LEFT = [
    on_the_line("1.9", "as left", "computed"),
    on_the_line("6.7", "as left"),
    on_the_line("0.3", "as left", "computed"),
]


def drawn(trial: Trial, readings: list[SentReading], weights: list[float]) -> float:
    """Referee: each component of the readings drawn anew, what is shared once for all of them."""
    doubt = trial.doubt(readings)
    rng, sums = np.random.default_rng(3), np.zeros(DRAWS)
    for component in doubt.components:
        parts = np.broadcast_to(component.contribution, len(readings))
        if component.shared:
            sums += rng.normal(size=DRAWS) * (weights * parts).sum()
        else:
            sums += (rng.normal(size=(DRAWS, len(parts))) * (weights * parts)).sum(axis=1)
    return float(sums.std())


def test_zero_and_span_from_two_levels_carry_both_and_the_bend(trial):
    doubt = trial.doubt([*FOUND, *ENDS])
    bend = BEND_PERCENT / 3**0.5
    for place, weights in ((2, [4 / 3, -1 / 3]), (3, [-1 / 3, 4 / 3])):
        u = np.hypot(drawn(trial, FOUND, weights), bend)
        assert doubt.u[place] == pytest.approx(u, rel=0.01)
    assert doubt.u[:2] == pytest.approx(trial.doubt(FOUND).u)  # what was read is as it was
    budget = doubt.budget(2)
    assert next(p for p in budget["components"] if p["name"] == BEND)["assumed"]
    assert sum(p["share"] for p in budget["components"]) == pytest.approx(1)


def test_an_as_left_at_a_level_the_tank_left_rests_on_three_readings(trial):
    weights, beyond = weights_of([*FOUND, *LEFT])
    assert weights[2] == pytest.approx([1, -1, 0, 1, 0])
    assert weights[4] == pytest.approx([4 / 3, -4 / 3, 0, 1, 0])
    assert beyond.tolist() == [False, False, False, False, True]
    doubt = trial.doubt([*FOUND, *LEFT])
    read = [*FOUND, LEFT[1]]
    assert doubt.u[2] == pytest.approx(drawn(trial, read, [1, -1, 1]), rel=0.01)
    assert doubt.u[2] > doubt.u[3]


def test_the_digits_of_a_computed_reading_tell_nothing_of_the_display(trial):
    fine = SentReading("as found", 3, Decimal("0.3"), Decimal("4.00123"), origin="computed")
    assert trial.doubt([*FOUND, fine]).u[0] == trial.doubt(FOUND).u[0]


def two_levels(stands: str, level: str = "4.3") -> tuple[Calibration, list[Reading]]:
    """Two levels on a perfect line, and what was read as it stood."""
    record = Calibration(lower=Decimal("0.3"), upper=Decimal("8.3"), signal="4-20mA")

    def row(stage: str, at: str, observed: str, origin: str = "read") -> Reading:
        return Reading(
            stage=stage, applied=Decimal(at), observed=Decimal(observed), origin=origin, expanded_percent=0.2
        )  # fmt: skip

    rows = [row("as found", "1.9", "7.2"), row("as found", "6.7", "16.8")]
    return record, [row("as it stands", level, stands), *rows, row("as found", "0.3", "4", "computed")]  # fmt: skip


def test_a_third_level_checks_the_line():
    told = third_level(*two_levels("12.08"))
    assert told.off == pytest.approx(0.5)
    assert told.open == pytest.approx(0.2 * np.hypot(1, np.hypot(0.5, 0.5)))
    assert third_level(*two_levels("7.9", level="2.2")) is None  # too near the first level


def test_a_line_without_computed_readings_is_not_checked():
    record, rows = two_levels("12.08")
    assert third_level(record, rows[:-1]) is None
    assert third_level(record, rows[1:]) is None


def test_without_two_levels_a_computed_reading_stands_for_itself(trial):
    lone = [on_the_line("1.9"), on_the_line("0.3", origin="computed")]
    assert weights_of(lone)[0] == pytest.approx(np.eye(2))
    assert trial.doubt(lone).u[1] > 0
