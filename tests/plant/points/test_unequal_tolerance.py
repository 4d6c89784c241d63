"""Unequal and one-sided tolerances in the register: their text, the form and the file."""

from __future__ import annotations

from decimal import Decimal

import pytest

from plant.level.tolerance import AT_LEAST, AT_MOST, Limits
from plant.points.models import MeasuringPoint
from plant.points.tolerance_texts import limits_text, tolerance_texts, typed_tolerance
from tests.files import applied, reasons, send
from tests.makers import a_point, a_tank
from tests.plant.importing.register_rows import HEADER, rows

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("limits", "unit", "text"),
    [
        (Limits.of(4), "mm", "±4\xa0mm"),
        (Limits.of(5, 10), "mm", "+5 / −10\xa0mm"),
        (Limits.of(5, sides=AT_MOST), "mm", "at most +5\xa0mm"),
        (Limits.of(10, sides=AT_LEAST), "mm", "at least −10\xa0mm"),
        (Limits.of(0.25, 0.5), "%", "+0.250 / −0.500\xa0%"),
        (Limits.of(1, 2), "%", "+1.00 / −2.00\xa0%"),
    ],
)
def test_a_tolerance_reads_as_one_would_write_it(limits, unit, text):
    assert limits_text(limits, unit) == text


def test_a_point_names_its_tolerance_in_every_unit_and_its_open_side(site):
    point = a_point("LT-1", tolerance=Decimal(1), tolerance_sides=AT_MOST)
    assert tolerance_texts(point) == [
        "at most +1.00\xa0% of span",
        "at most +0.160\xa0mA",
        "at most +80.0\xa0mm",
        "no limit below",
    ]
    assert typed_tolerance(point) == "at most +1"


@pytest.fixture
def tank(site):
    return a_tank()


# ---- the form ----
FIELDS = {
    "tank_name": "T-101",
    "tag": "LT-5",
    "quantity": "level",
    "unit": "m",
    "lower": "0.3",
    "upper": "8.3",
    "signal": "4-20mA",
    "tolerance": "5",
    "tolerance_sides": "both",
    "tolerance_unit": "mm",
    "duty": "general",
    "interval_months": "12",
    "grace_days": "0",
    "job_hours": "1.5",
    "due_on": "2026-12-01",
}


def test_the_form_stores_both_limits_and_half_the_nearer_as_adjust_limit(tank, sign_in, planner):
    answer = sign_in(planner).post("/points/new/", FIELDS | {"tolerance_down": "3"})
    assert answer.status_code == 302
    point = MeasuringPoint.objects.get(tag="LT-5")
    assert (point.tolerance, point.tolerance_down, point.adjust_limit) == (5, 3, Decimal("1.5"))
    page = sign_in(planner).get(point.get_absolute_url()).content.decode()
    assert "+5.0 / −3.0\xa0mm" in page.replace("&nbsp;", "\xa0")


@pytest.mark.parametrize(
    ("typed", "field", "reason"),
    [
        ({"tolerance_down": "0", "adjust_limit": "0"}, "tolerance_down", "above zero"),
        ({"tolerance_down": "2", "adjust_limit": "3"}, "adjust_limit", "between zero and"),
        ({"tolerance_down": "2", "tolerance_sides": AT_MOST}, "tolerance_down", "one limit"),
    ],
)
def test_the_form_says_beside_the_field_what_cannot_be(
    tank, sign_in, planner, typed, field, reason
):
    page = sign_in(planner).post("/points/new/", FIELDS | typed)
    assert page.status_code == 422
    assert list(page.context["form"].errors) == [field]
    assert reason in " ".join(page.context["form"].errors[field])


def test_the_form_offers_both_ways_first_and_leaves_none_of_the_sides_open(tank, sign_in, planner):
    client = sign_in(planner)
    field = client.get("/points/new/").context["form"]["tolerance_sides"]
    assert (field.label, field.value(), field.field.required) == ("Tolerance applies", "both", True)
    assert [key for key, _ in field.field.choices] == ["both", AT_MOST, AT_LEAST]
    page = client.post("/points/new/", FIELDS | {"tolerance_sides": ""})
    assert list(page.context["form"].errors) == ["tolerance_sides"]


# ---- the file ----
SIDES = HEADER + ",tolerance downward,tolerance sides,tolerance unit,adjust limit"


def of(tag: str) -> tuple:
    point = MeasuringPoint.objects.get(tag=tag)
    return point.tolerance, point.tolerance_down, point.tolerance_sides, point.adjust_limit


def test_a_file_brings_in_unequal_and_one_sided_tolerances(tank, planner):
    text = rows(
        SIDES,
        "LT-1,T-101,0.3,8.3,5,10,,mm,",
        "LT-2,T-101,0.3,8.3,5,3,both,mm,",
        "LT-3,T-101,0.3,8.3,5,,at most,mm,",
        "LT-4,T-101,0.3,8.3,5,,,mm,",
    )
    applied(text, by=planner)
    assert of("LT-1") == (5, 10, "both", Decimal("2.5"))
    assert of("LT-2") == (5, 3, "both", Decimal("1.5"))
    assert of("LT-3") == (5, None, "at most", Decimal("2.5"))
    assert of("LT-4") == (5, None, "both", Decimal("2.5"))


def test_a_file_keeps_the_limit_downward_only_where_it_still_means_something(tank, planner):
    for tag in ("LT-1", "LT-2", "LT-3"):
        a_point(tag, tank, tolerance=5, tolerance_down=10, tolerance_unit="mm", adjust_limit=2)
    text = rows(
        SIDES,
        "LT-1,T-101,0.3,8.3,4,,,,",
        "LT-2,T-101,0.3,8.3,0.5,,,%,",
        "LT-3,T-101,0.3,8.3,5,,at least,,",
    )
    applied(text, by=planner, why="tolerances agreed anew")
    assert of("LT-1") == (4, 10, "both", 2)
    assert of("LT-2") == (Decimal("0.5"), None, "both", Decimal("0.25"))
    assert of("LT-3") == (5, None, "at least", 2)


def test_what_cannot_be_is_refused_beside_its_cell(tank, planner):
    text = rows(
        SIDES,
        "LT-1,T-101,0.3,8.3,5,2,at most,mm,1",
        "LT-2,T-101,0.3,8.3,5,2,,mm,3",
        "LT-3,T-101,0.3,8.3,5,0,,mm,",
        "LT-4,T-101,0.3,8.3,5,,upward,mm,",
    )
    assert [(row, column) for row, column, _ in reasons(send(text, by=planner))] == [
        (2, "tolerance downward"),
        (3, "adjust limit"),
        (4, "tolerance downward"),
        (5, "tolerance sides"),
    ]
