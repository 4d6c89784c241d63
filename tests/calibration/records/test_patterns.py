"""Patterns that a record shows, stage by stage, and beside a record of the other kind."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from calibration.records.models import Calibration, Reading
from calibration.records.patterns import hints_of
from tests.makers import TODAY, a_transmitter, an_equipped_point, an_unsaved_record

pytestmark = pytest.mark.django_db

DAY = dt.timedelta(1)
APART = "simulated output and wetted level"


@pytest.fixture
def point(site):
    return an_equipped_point()


def stored_record(point, done_on: dt.date = TODAY, **facts) -> Calibration:
    device = point.installations.get().transmitter
    record = an_unsaved_record(point, done_on, device, **facts)
    record.save()
    return record


def shifted(stage: str, by: str = "0.2") -> list[Reading]:
    """Every output too high by the same current: a shift of the zero."""
    return [
        Reading(
            stage=stage,
            sequence=n,
            expected=Decimal(current),
            observed=Decimal(current) + Decimal(by),
            rising=True,
        )
        for n, current in enumerate((4, 12, 20), 1)
    ]


def keys(record: Calibration, readings: list[Reading] = ()) -> dict[str, list[str]]:
    return {stage: [hint.key for hint in hints] for stage, hints in hints_of(record, readings)}


# ---- the readings of a stage ----
def test_each_stage_that_shows_a_pattern_is_named_and_no_other(point):
    record = stored_record(point)
    assert keys(record, shifted("as found")) == {"as found": ["P5"]}
    assert keys(record, shifted("as left")) == {"as left": ["P5"]}
    assert keys(record, shifted("as found", "0.01")) == {}
    assert keys(record, shifted("as it stands")) == {}
    assert keys(record) == {}


def test_a_reading_without_an_output_takes_no_part(point):
    record, rows = stored_record(point), shifted("as found")
    rows[1].observed = None
    assert keys(record, rows) == {"as found": ["P5"]}
    for row in rows:
        row.observed = None
    assert keys(record, rows) == {}


def test_patterns_are_those_of_a_loop_of_4_to_20_milliamperes(point):
    assert keys(stored_record(point, signal="0-20mA"), shifted("as found")) == {}


# ---- beside a record of the other kind ----
OUTPUT = {"way": "simulated output", "found_largest": 0.02}
WETTED = {"way": "wetted level by dip", "found_largest": 0.9}


def test_output_right_and_level_wrong_is_said_on_both_records(point):
    output, wetted = stored_record(point, **OUTPUT), stored_record(point, TODAY - DAY, **WETTED)
    for record in (output, wetted):
        [(stage, [hint])] = hints_of(record, [])
        assert stage == APART
        assert hint.pattern == "right on simulated output, wrong on wetted level"


def test_both_wrong_by_the_same_point_to_the_output_stage(point):
    stored_record(point, **OUTPUT | {"found_largest": 0.8})
    [(_, [hint])] = hints_of(stored_record(point, TODAY - DAY, **WETTED), [])
    assert hint.pattern == "wrong by the same on simulated output and wetted level"


def test_output_wrong_and_level_right_points_nowhere(point):
    stored_record(point, **OUTPUT | {"found_largest": 0.9})
    assert keys(stored_record(point, **WETTED | {"found_largest": 0.02})) == {}


def test_two_records_of_one_kind_say_nothing(point):
    stored_record(point, TODAY - DAY, **WETTED | {"found_largest": 0.02})
    assert keys(stored_record(point, **WETTED)) == {}


@pytest.mark.parametrize(("days", "near"), [(30, True), (31, False), (-30, True), (-31, False)])
def test_a_month_before_or_after_is_near(point, days, near):
    stored_record(point, TODAY - days * DAY, **OUTPUT)
    assert bool(keys(stored_record(point, **WETTED))) is near


def test_another_transmitter_is_no_comparison(point):
    wetted = stored_record(point, **WETTED)
    stored_record(an_equipped_point("LT-2"), **OUTPUT)
    an_unsaved_record(point, TODAY - DAY, a_transmitter(), **OUTPUT).save()
    assert keys(wetted) == {}


def test_a_record_without_errors_is_passed_over_for_one_with_them(point):
    wetted = stored_record(point, **WETTED)
    for days in (-2, 2):
        stored_record(point, TODAY + days * DAY, **OUTPUT | {"found_largest": None})
    assert keys(wetted) == {}
    stored_record(point, TODAY, **OUTPUT)
    assert keys(wetted) == {APART: ["P10"]}


def test_only_a_capacitance_probe_has_two_parts(point):
    stored_record(point, **OUTPUT)
    wetted = stored_record(point, TODAY - DAY, **WETTED)
    wetted.transmitter.principle = "radar"
    assert keys(wetted) == {}
