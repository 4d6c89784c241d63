"""Numbers, units and days as people read them."""

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template

from plant.templatetags import quantities as q


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (-0.4125, "−0.41"),
        (Decimal("-0.4150"), "−0.42"),  # to the even digit: 0.415 lies between 0.41 and 0.42
        (Decimal("0.4250"), "0.42"),
        (0, "0.00"),
        (-0.004, "0.00"),
        (12, "12.00"),
        (None, "–"),
        (float("nan"), "–"),
        (float("inf"), "–"),
        (Decimal("NaN"), "–"),
        ("4.2", "–"),
    ],
)
def test_number_has_fixed_digits_and_a_true_minus(value, text):
    assert q.number(value, 2) == text


def test_signed_number_carries_its_sign_and_zero_none():
    assert [q.number(x, 2, signed=True) for x in (0.3, -0.3, 0, -0.001)] == [
        "+0.30",
        "−0.30",
        "0.00",
        "0.00",
    ]


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4.3, "m", "4.300"),
        (4300.4, "mm", "4300"),
        (430.04, "cm", "430.0"),
        (169.291, "in", "169.29"),
        (14.1076, "ft", "14.108"),
        (146.2184, "m3", "146.22"),
        (146218.4, "L", "146218"),
        (11.934, "mA", "11.934"),
        (2.5, "V", "2.500"),
    ],
)
def test_each_unit_has_its_resolution(value, unit, text):
    assert q.quantity(value, unit) == text


def test_error_gains_a_digit_beside_a_fine_tolerance():
    assert (q.percent(-0.1234), q.percent(-0.1234, 0.5), q.percent(-0.1234, Decimal("0.25"))) == (
        "−0.12",
        "−0.12",
        "−0.123",
    )


def test_value_and_unit_stay_on_one_line():
    assert q.with_unit(q.quantity(2.5, "m3"), "m3") == "2.50\u00a0m³"
    assert q.with_unit(q.quantity(None, "m3"), "m3") == "–"


def test_day_is_unmistakable_in_every_country():
    assert q.day_text(date(2026, 5, 12)) == "12 May 2026"
    assert q.weekday_text(date(2026, 11, 25)) == "Wednesday 25 Nov 2026"


@pytest.mark.parametrize(
    ("zone", "text"),
    [
        ("Europe/Lisbon", "12 May 2026 05:00 WEST"),
        (ZoneInfo("America/Sao_Paulo"), "12 May 2026 01:00 UTC−03"),
        ("Asia/Dubai", "12 May 2026 08:00 UTC+04"),
    ],
)
def test_moment_names_its_zone(zone, text):
    assert q.moment_text(datetime(2026, 5, 12, 4, 0, tzinfo=UTC), zone) == text


def test_missing_value_is_read_out_as_no_value():
    page = Template("{% load quantities %}{{ x|ma }}{{ x|day }}{{ x|moment }}{{ x|measure:'m' }}")
    assert page.render(Context({"x": None})).count('<span class="hide">no value</span>') == 4


def test_filters_give_what_the_functions_give():
    page = Template(
        "{% load quantities %}{{ x|ma }} {{ x|span:0.25 }} {{ x|value:'mm' }} {{ x|measure:'m3' }}"
        " {{ x|shift:'mA' }} {{ x|fixed:1 }} {{ x|limit }} {{ 'm3'|unit }} {{ d|day }}"
    )
    shown = page.render(Context({"x": Decimal("3.96"), "d": date(2026, 5, 12)}))
    assert shown == (
        "3.960 +3.960 4 3.96\u00a0m³ +3.960\u00a0mA 4.0 ±3.96\u00a0% m³ "
        '<time datetime="2026-05-12">12 May 2026</time>'
    )
