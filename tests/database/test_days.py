"""Every day that is entered lies within 1950 to 2149, whatever road it comes by."""

from __future__ import annotations

import datetime as dt

import pytest
from django import forms
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from plant.pages.forms import day_field
from plant.parsers import FIRST_DAY, LAST_DAY
from plant.refusals import RuleBroken
from plant.saving import constraint_messages
from tests import makers
from tests.database.rows import make_rows

pytestmark = pytest.mark.django_db

DERIVED = {"calibration_trend", "plant_duecount"}
COLUMNS = [
    (model._meta.db_table, field.column)
    for model in apps.get_models()
    if model._meta.app_label in ("plant", "calibration") and model._meta.managed
    for field in model._meta.local_fields
    if type(field) is models.DateField and model._meta.db_table not in DERIVED
]


@pytest.mark.parametrize(("table", "column"), COLUMNS)
def test_every_column_of_days_has_its_bounds(table, column):
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_get_constraintdef(oid) FROM pg_constraint WHERE conname = %s",
            [f"{table}_{column}_check"],
        )
        [(rule,)] = cursor.fetchall()
    assert f"'{FIRST_DAY}'" in rule
    assert f"'{LAST_DAY}'" in rule


@pytest.mark.parametrize(
    "day", ["0026-12-05", "1949-12-31", "2150-01-01", "9999-12-31", "infinity"]
)
def test_a_day_out_of_time_is_refused(day):
    make_rows()
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE plant_measuringpoint SET due_on = %s", [day])


def test_an_act_says_what_to_check_where_the_database_refuses_a_day():
    point = makers.a_point()
    point.due_on = dt.date(26, 12, 5)
    with pytest.raises(RuleBroken) as refusal, constraint_messages():
        point.save(update_fields=["due_on"])
    assert "lies outside 1950 to 2149; check what you typed" in str(refusal.value)


@pytest.mark.parametrize("day", ["0026-12-05", "9999-12-31"])
def test_a_form_says_so_beside_the_day(day):
    class Day(forms.Form):
        on = day_field("Day")

    form = Day({"on": day})
    assert not form.is_valid()
    assert "cannot be stored" in form.errors["on"][0]
    assert Day({"on": "2026-11-30"}).is_valid()


def test_a_deferral_until_the_tenth_millennium_is_answered_beside_its_day(sign_in, planner):
    point = makers.a_calibrated_point()
    body = {"until": "9999-12-31", "reason": "A ship."}
    answer = sign_in(planner).post(f"/points/{point.pk}/defer/", body)
    assert answer.status_code == 422
    assert "cannot be stored" in answer.content.decode()
    assert point.due_on < dt.date(2150, 1, 1)
