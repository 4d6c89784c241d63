"""The page of a measuring point and that of a transmitter: what they tell, who may do what, what
they cost.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse

from calibration.findings.models import Finding
from plant.points import acts as points
from tests.folded import folded
from tests.makers import (
    LONG_AGO,
    NOON,
    TODAY,
    a_certificate,
    a_point,
    a_standard,
    an_approved_record,
    an_equipped_point,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


def page_of(client, row) -> str:
    return client.get(row.get_absolute_url()).content.decode()


@pytest.fixture
def drifting(technician, approver):
    """Four results, a year apart: zero rises by 0.1 % a year, span by 0.2 %, with a little
    scatter.
    """
    point = an_equipped_point()
    standard = a_standard()
    a_certificate(standard, issued_on=LONG_AGO, valid_until=dt.date(2030, 1, 1))
    for n, scatter in enumerate((0.01, -0.01, 0.015, -0.005)):
        zero, span = 0.1 * n + scatter, 0.2 * n + scatter
        rise = [
            zero + (span - zero) * share for share in (0, 0.25, 0.5, 0.75, 1, 0.75, 0.5, 0.25, 0)
        ]
        an_approved_record(
            point, by=technician, approved_by=approver, found=rise, standards=[standard],
            done_on=TODAY - dt.timedelta(days=round(365.25 * (3 - n))),
        )  # fmt: skip
    point.refresh_from_db()
    return point


def test_it_tells_the_range_in_every_unit(planner, sign_in):
    page = page_of(sign_in(planner), an_equipped_point())
    for words in (
        "0.300\xa0m",
        "8.300\xa0m, direct",
        "±1.00\xa0%",
        "±80.0\xa0mm",
        "±0.160\xa0mA",
        "12 months",
    ):
        assert words in page, words


def test_it_tells_the_drift_with_its_interval_and_the_day_of_the_crossing(
    drifting, planner, sign_in
):
    page = page_of(sign_in(planner), drifting)
    assert "Error at span, as it stood" in page  # the end whose band meets the tolerance first
    rate = re.search(
        r"\+0\.\d\d % of span a year \(95 %: \+0\.\d\d to \+0\.\d\d\), from 4 results", page
    )
    assert rate
    assert rate[0].startswith(("+0.19", "+0.20"))
    assert re.search(r"The 95 % band reaches the tolerance on \d+ \w+ 20(27|28)", page)
    assert re.search(r"limit \d+ \w+ 20(27|28)", page)
    assert folded(page).count("if no jump comes and the rate does not change") == 2


def test_it_tells_the_chance_that_every_reading_passes_and_what_that_rests_on(
    drifting, planner, sign_in
):
    page = page_of(sign_in(planner), drifting).replace("\xa0", " ")
    assert re.search(
        r"Found today it would pass with (more than )?\d+\.\d %, on the due date", page
    )
    assert "4 tests of its own and a cautious assumption" in page


def test_the_other_end_is_one_press_away(drifting, planner, sign_in):
    page = sign_in(planner).get(drifting.get_absolute_url(), {"of": "zero"}).content.decode()
    assert "Error at zero, as it stood" in page
    assert re.search(r"\+0\.(09|10) % of span a year", page)
    odd = sign_in(planner).get(drifting.get_absolute_url(), {"of": "<script>"})
    assert odd.status_code == 200
    assert b"<script>a" not in odd.content


def test_adjustments_are_taken_out_in_a_second_view(drifting, planner, sign_in):
    client = sign_in(planner)
    page = folded(page_of(client, drifting))
    assert '<a href="?of=span&amp;view=taken-out#drift-plot">adjustments taken out</a>' in page
    other = client.get(drifting.get_absolute_url(), {"of": "span", "view": "taken-out"})
    page = folded(other.content.decode())
    assert "Drift at span, adjustments taken out" in page
    assert '<a href="?of=span&amp;view=as-it-stood#drift-plot">as it stood</a>' in page
    assert '<a href="?of=zero&amp;view=taken-out#drift-plot">zero</a>' in page


def test_the_numbers_of_the_picture_stand_in_one_table_for_both_views(drifting, planner, sign_in):
    client, tables = sign_in(planner), []
    for view in ("as-it-stood", "taken-out"):
        asked = client.get(drifting.get_absolute_url(), {"view": view})
        page = folded(asked.content.decode())
        tables.append(re.search(r"<summary>Numbers</summary>.*?</details>", page, re.DOTALL)[0])
    rows = re.findall(r"<tr><td><a href=\"/records/\d+/\"><time[^>]*>[^<]+</time></a>", tables[0])
    assert len(rows) == 4
    assert "Forecast of the next as found" in tables[0]
    assert tables[0] == tables[1]


def test_the_key_of_the_picture_is_drawn_beneath_it(drifting, planner, sign_in):
    page = folded(page_of(sign_in(planner), drifting))
    key = re.search(r'<ul class="marks">.*?</ul>', page, re.DOTALL)[0]
    assert [name.strip() for name in re.findall(r"</svg>([^<]*)</li>", key)] == [
        "as found",
        "as left",
        "expected",
        "95 % band of the next as found",
        "tolerance",
    ]


def test_the_chance_of_failing_stands_with_its_day(drifting, planner, sign_in):
    page = folded(page_of(sign_in(planner), drifting)).replace("\xa0", " ")
    table = re.search(r'<table class="tight chances">.*?</table>', page, re.DOTALL)[0]
    assert table.count('class="now"') == 1
    assert re.search(r">in \d+ d</span>", table)
    assert re.search(r">due</span>", table)


def test_with_too_few_results_it_says_how_many_are_needed(technician, approver, planner, sign_in):
    record = an_approved_record(by=technician, approved_by=approver)
    page = page_of(sign_in(planner), record.point)
    assert "A trend needs 2 results; there is 1 result so far." in page
    assert "vega" not in page


def test_a_point_without_results_says_what_to_do_first(planner, technician, sign_in):
    page = page_of(sign_in(planner), a_point())
    assert "No transmitter installed; install one first." in page
    page = page_of(sign_in(technician), an_equipped_point("LT-102A"))
    assert "Start the first calibration with the button above." in page


def test_only_a_technician_starts_and_only_a_planner_changes(planner, technician, auditor, sign_in):
    point = an_equipped_point()
    start, change = (
        reverse("calibration:job_new", args=[point.pk]),
        reverse("plant:point_edit", args=[point.pk]),
    )
    offered = {
        who.username: (
            start in page_of(sign_in(who), point),
            change in page_of(sign_in(who), point),
        )
        for who in (planner, technician, auditor)
    }
    assert offered == {
        planner.username: (False, True), technician.username: (True, False), auditor.username: (False, False),
    }  # fmt: skip


def test_an_open_finding_stands_on_top(technician, approver, planner, sign_in):
    record = an_approved_record(
        by=technician, approved_by=approver, found=[1.4] * 9, left=[0.0] * 9
    )
    page = page_of(sign_in(planner), record.point)
    assert "Found out of tolerance on" in page
    assert Finding.objects.get().get_absolute_url() in page


def test_out_of_service_is_told_with_its_reason_and_cannot_be_started(planner, technician, sign_in):
    point = an_equipped_point()
    points.take_out_of_service(point, on=TODAY, today=TODAY, why="tank opened", by=planner)
    page = page_of(sign_in(technician), point)
    assert "tank opened" in page
    assert "Start calibration" not in page


def test_it_costs_seventeen_queries_at_most(
    drifting, planner, sign_in, django_assert_max_num_queries
):
    client = sign_in(planner)
    with django_assert_max_num_queries(17):
        client.get(drifting.get_absolute_url())


def test_a_transmitter_shows_its_results_and_drift(drifting, planner, outsider, sign_in):
    device = drifting.installations.get().transmitter
    page = page_of(sign_in(planner), device)
    assert "% of span a year" in page
    assert page.count("/records/") >= 4
    assert drifting.tag in page
    assert sign_in(outsider).get(device.get_absolute_url()).status_code == 404


def test_a_transmitter_that_hangs_nowhere_has_no_drift(planner, sign_in):
    point = an_equipped_point()
    row = point.installations.get()
    row.removed_on = NOON.date()
    row.save()
    page = page_of(sign_in(planner), row.transmitter)
    assert "Not installed at a measuring point" in page
