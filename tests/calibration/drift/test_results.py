"""Packed rows: what the database packs is what Python describes, and what is read from them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from django.db import connection

from calibration.arrays import row_sql
from calibration.drift.models import JumpQuestion
from calibration.drift.results import points_of, results_of
from calibration.drift.rows import RECORD
from calibration.records.models import Calibration
from plant.product_changes.models import ProductChange
from plant.transmitters.models import Installation
from tests.makers import (
    NOON,
    a_point,
    a_transmitter,
    an_equipped_point,
    an_installation,
    an_unsaved_record,
    past_records,
    soybean_oil,
)

EXPRESSION = """
    SELECT pg_get_expr(d.adbin, d.adrelid) FROM pg_attrdef d
    JOIN pg_attribute a ON a.attrelid = d.adrelid AND a.attnum = d.adnum
    WHERE a.attrelid = %s::regclass AND a.attname = 'drift_row'
"""


@pytest.mark.django_db
def test_the_database_packs_a_record_as_the_description_says():
    with connection.cursor() as cursor:
        cursor.execute(EXPRESSION, ["calibration_calibration"])
        [stored] = cursor.fetchone()
        cursor.execute("CREATE TEMPORARY TABLE described (LIKE calibration_calibration)")
        cursor.execute("ALTER TABLE described DROP COLUMN drift_row")
        cursor.execute(
            "ALTER TABLE described ADD COLUMN drift_row bytea "
            f"GENERATED ALWAYS AS ({row_sql(RECORD)}) STORED"
        )
        cursor.execute(EXPRESSION, ["described"])
        assert cursor.fetchone() == (stored,)


SIMULATED = {"way": "simulated output"}


@pytest.mark.django_db
def test_each_result_says_whether_it_was_adjusted_and_found_out(site):
    point = an_equipped_point()
    past_records(point, {}, {"adjusted": True}, {"found_verdict": "fail"}, {})
    results = results_of(points_of([point.pk]))
    assert results.adjusted.tolist() == [False, True, False, False]
    assert results.found_out.tolist() == [False, False, True, False]
    assert not results.begins.any()


@pytest.mark.django_db
def test_work_on_the_mounting_begins_a_level_and_sets_nothing_aside(site, technician):
    point = an_equipped_point()
    past_records(point, {}, {}, {})
    record = Calibration.objects.order_by("done_on")[1]
    JumpQuestion.objects.create(
        site=site, point=point, record=record, end="span", size_percent=0.8, chance=0.001,
        kind="step", raised_at=NOON, cause="mounting", answer="nozzle changed",
        answered_by=technician, answered_at=NOON,
    )  # fmt: skip
    results = results_of(points_of([point.pk]))
    assert results.fresh.tolist() == [[False] * 3, [False, True, False]]
    assert not results.begins.any()
    assert not np.isnan(results.found[1]).any()


@pytest.mark.django_db
def test_a_failure_begins_a_segment_and_drops_what_was_before(site):
    point = an_equipped_point()
    past_records(point, {}, {}, {"shows_failure": True}, {})
    results = results_of(points_of([point.pk]))
    assert results.begins.tolist() == [True, False]


@pytest.mark.django_db
def test_a_simulated_output_is_left_out_where_wetted_levels_were_read(site):
    """And a trim of the output between two of those begins a new level."""
    trimmed = SIMULATED | {"adjusted": True}
    point = an_equipped_point()
    past_records(point, {}, SIMULATED, {}, trimmed, {})
    results = results_of(points_of([point.pk]))
    assert [int(day) for day in results.day] == [
        (dt.date(year, 6, 1) - dt.date(2000, 1, 1)).days for year in (2022, 2024, 2026)
    ]
    assert results.fresh.tolist() == [[False, False, True]] * 2


@pytest.mark.django_db
def test_simulated_outputs_alone_are_a_history(site):
    point = an_equipped_point()
    past_records(point, SIMULATED, SIMULATED)
    results = results_of(points_of([point.pk]))
    assert len(results) == 2
    assert not results.fresh.any()


@pytest.mark.django_db
@pytest.mark.parametrize("index", ["on", "off"])
def test_results_stand_in_order_of_points_by_whichever_way_the_server_reads_them(site, index):
    """By an index they come in order; without one as they were recorded, the second point first."""
    first, second = an_equipped_point("LT-1"), an_equipped_point("LT-2")
    past_records(second, {})
    past_records(first, {})
    with connection.cursor() as cursor:
        for way in ("indexonlyscan", "indexscan", "bitmapscan"):
            cursor.execute(f"SET LOCAL enable_{way} = {index}")
    results = results_of(points_of([first.pk, second.pk]))
    assert results.point.tolist() == [first.pk, second.pk]


@pytest.mark.django_db
def test_results_stand_in_order_of_days_whichever_was_recorded_first(site):
    point = an_equipped_point()
    device = Installation.objects.get(point=point).transmitter
    for year in (2023, 2021, 2022):
        an_unsaved_record(point, dt.date(year, 6, 1), device, found_at_zero=0.1).save()
    results = results_of(points_of([point.pk]))
    assert results.day.tolist() == sorted(results.day.tolist())
    by_day = Calibration.objects.order_by("done_on").values_list("pk", flat=True)
    assert results.record.tolist() == list(by_day)


@pytest.mark.django_db
def test_a_stated_uncertainty_counts_and_else_a_twentieth_of_the_tolerance(site):
    """What readings share is at most the whole."""
    point = an_equipped_point(tolerance=2)
    past_records(
        point,
        {},
        {"u_zero": 0.03, "u_zero_shared": 0.01},
        {"u_zero": 0.03, "u_zero_shared": 0.05},
    )
    results = results_of(points_of([point.pk]))
    assert results.u.tolist() == [pytest.approx([0.1, 0.03, 0.03]), pytest.approx([0.1] * 3)]
    assert results.shared.tolist() == [pytest.approx([0.0, 0.01, 0.03]), [0.0] * 3]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("principle", "fresh"),
    [("capacitance rod", [False, True, False]), ("radar", [False, False, False])],
)
def test_a_change_of_the_product_begins_a_level_where_the_reading_depends_on_it(
    site, principle, fresh
):
    """On the day of the second result; changes before the first and after the last begin none."""
    point = a_point()
    an_installation(point, a_transmitter(principle=principle))
    past_records(point, {}, {}, {})
    for on in (dt.date(2023, 1, 1), dt.date(2025, 6, 1), dt.date(2026, 7, 1)):
        ProductChange.objects.create(
            site=site, tank=point.tank, on=on, product=soybean_oil(), celsius=40
        )
    assert results_of(points_of([point.pk])).fresh.tolist() == [fresh] * 2


@pytest.mark.django_db
def test_an_amended_record_stands_as_it_was_amended(site):
    point = an_equipped_point()
    first, second = past_records(point, {}, {})
    device = Installation.objects.get(point=point).transmitter
    amended = an_unsaved_record(
        point, first.done_on, device, found_at_zero=0.2, amends=first, amend_reason="misread"
    )
    amended.save()
    results = results_of(points_of([point.pk]))
    assert results.record.tolist() == [amended.pk, second.pk]


@pytest.mark.django_db
def test_results_of_a_transmitter_that_is_gone_are_left_out(site):
    point = an_equipped_point()
    past_records(point, {}, {})
    Installation.objects.filter(point=point).update(removed_on=dt.date(2026, 7, 1))
    an_installation(point, installed_on=dt.date(2026, 7, 1))
    assert len(results_of(points_of([point.pk]))) == 0
