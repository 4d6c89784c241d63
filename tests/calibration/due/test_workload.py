"""The work ahead as a picture: hours on its axis, the crew's line, the table beneath."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from django.template import Context, Template

from calibration.due.weeks import WorkWeek
from calibration.templatetags.workloads import workload


def weeks(hours):
    first = date(2026, 11, 23)
    return [WorkWeek(first + timedelta(7 * i), h, int(h)) for i, h in enumerate(hours)]


def test_week_above_capacity_is_hatched_and_told():
    shown = workload(weeks([4, 12, 0]), 10)
    assert shown["over"] == 1
    assert shown["bars"].count("<rect") == 2  # a week without work has no bar
    assert shown["bars"].count('class="hatch"') == 1
    assert "Week from 30 Nov 2026: 12.0 h, 12 points, over the crew&#x27;s 10.0 h" in shown["bars"]


@pytest.mark.parametrize(
    ("peak", "said"),
    [
        (2, ["0 h", "1 h", "2 h"]),
        (15, ["0 h", "4 h", "8 h", "12 h"]),
        (70, ["0 h", "20 h", "40 h", "60 h"]),
        (2000, ["0 h", "500 h", "1000 h", "1500 h", "2000 h"]),
    ],
)
def test_workload_has_hours_on_its_axis(peak, said):
    shown = workload(weeks([peak, 1]), None)
    assert [text for _, text in shown["hours"]] == said
    heights = [float(y) for y, _ in shown["hours"]]
    assert heights == sorted(heights, reverse=True)
    assert min(heights) >= 22


def test_workload_names_the_site_for_those_who_do_not_see_it():
    assert "by week at Marram Point, " in workload(weeks([4]), 10, "Marram Point")["sentence"]


def test_workload_names_each_month_once_and_without_collision():
    months = workload(weeks([1] * 52), None)["months"]
    assert [name for _, name in months][:4] == ["Nov", "Dec", "Jan 2027", "Feb"]
    assert min(b - a for a, b in pairwise(float(x) for x, _ in months)) >= 32


def test_month_with_one_week_left_gives_way_to_the_next():
    months = workload(weeks([1] * 52)[1:], None)["months"]  # begins on 30 November
    assert [name for _, name in months][:2] == ["Dec", "Jan 2027"]


def test_workload_page_part_has_a_table_beneath():
    page = Template("{% load workloads %}{% workload weeks 10 %}")
    shown = page.render(Context({"weeks": weeks([4, 12, 0])}))
    assert shown.count("<tr>") == 3
    assert "above the crew" in shown
    assert "style=" not in shown
