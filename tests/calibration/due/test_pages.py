"""The due list: what it shows to whom, page by page, and what it costs."""

from __future__ import annotations

import datetime as dt
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calibration.approval import acts as approval_acts
from calibration.drift.models import Trend
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.records import acts as records
from plant.people.models import Appointment
from plant.points.models import MeasuringPoint
from tests import makers
from tests.bench import fleet
from tests.folded import folded


@pytest.fixture
def today(site) -> dt.date:
    return site.day_of(timezone.now())


@pytest.fixture
def show(sign_in, planner):
    client = sign_in(planner)

    def get(query: str = "") -> str:
        answer = client.get(f"/due/{query}")
        assert answer.status_code == 200
        return answer.content.decode()

    return get


def tags(html: str) -> list[str]:
    return re.findall(r'class="plate" href="/points/\d+/">([^<]+)<', html)


def a_spread(today: dt.date) -> None:
    for tag, days in {"LT-1": -3, "LT-2": 0, "LT-3": 30, "LT-4": 31, "LT-5": 91}.items():
        makers.a_calibrated_point(tag, due_on=today + dt.timedelta(days))
    makers.a_calibrated_point("LT-6", due_on=today, deferred_until=today + dt.timedelta(9))
    makers.a_point("LT-7", due_on=today, out_of_service_on=today, out_of_service_why="opened")
    makers.a_point("LT-8", due_on=today + dt.timedelta(200))
    makers.an_equipped_point("LT-9", due_on=today + dt.timedelta(200))
    doubted = makers.a_calibrated_point("LT-10", due_on=today + dt.timedelta(200))
    Job.objects.create(site=doubted.site, point=doubted, due_on=today, why="request")


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        ("now", ["LT-8", "LT-9", "LT-10", "LT-1", "LT-2", "LT-3"]),
        ("no transmitter", ["LT-8"]),
        ("not calibrated", ["LT-9"]),
        ("in doubt", ["LT-10"]),
        ("overdue", ["LT-1"]),
        ("soon", ["LT-2", "LT-3"]),
        ("later", ["LT-4"]),
        ("in date", ["LT-5"]),
        ("deferred", ["LT-6"]),
        ("off", ["LT-7"]),
    ],
)
def test_each_state_lists_its_points_and_counts_them(show, today, state, expected):
    a_spread(today)
    html = show(f"?state={state}")
    assert tags(html) == expected
    current = re.search(r'aria-current="true"><strong>(\d+)</strong>', folded(html))
    assert current
    assert int(current[1]) == len(expected)


def test_the_counts_equal_a_plain_count_after_every_change(show, today):
    a_spread(today)
    MeasuringPoint.objects.filter(tag="LT-5").update(due_on=today - dt.timedelta(1))
    MeasuringPoint.objects.filter(tag="LT-8").delete()
    html = folded(show())
    shown = re.findall(r"<strong>(\d+)</strong>([^<]+)</a>", html)
    counted = {text.strip(): int(number) for number, text in shown}
    for text, state in (
        ("overdue", "overdue"),
        ("within 30 days", "soon"),
        ("deferred", "deferred"),
    ):
        assert counted[text] == MeasuringPoint.objects.in_state(state, on=today).count()


def test_a_row_shows_result_job_and_drift(show, today, technician, approver, planner):
    point = makers.an_equipped_point(due_on=today)
    makers.an_approved_record(
        point, by=technician, approved_by=approver, done_on=makers.TODAY, found=[0.7] * 9
    )
    MeasuringPoint.objects.update(due_on=today)
    jobs.plan(point, technician=technician, planned_on=today, by=planner)
    html = show()
    assert "as found +0.70" in html
    assert "planned" in html
    assert "T. Quillane" in html
    assert "pass" in html


def test_a_row_shows_the_amendment_and_not_what_it_replaced(show, today, technician, approver):
    point = makers.an_equipped_point()
    record = makers.an_approved_record(point, by=technician, approved_by=approver, found=[0.9] * 9)
    sent = makers.a_sent_record(found=[0.2] * 9)
    made = records.amend(
        record, sent, reason="wrong column", submission=uuid.uuid4(), by=technician, at=makers.NOON
    ).record
    MeasuringPoint.objects.update(due_on=today)
    assert "as found +0.90" in show()  # until it is approved, the record stands
    approval_acts.approve(made, content_sha256=made.content_sha256, by=approver, at=makers.NOON)
    MeasuringPoint.objects.update(due_on=today)
    assert "as found +0.20" in show()


def test_points_of_another_site_are_not_shown(sign_in, outsider, today):
    a_spread(today)
    html = sign_in(outsider).get("/due/").content.decode()
    assert tags(html) == []
    assert "Marram" not in html


def test_each_site_is_due_by_its_own_calendar_day(sign_in, site, monkeypatch):
    kolkata = makers.a_site("N", "Neelghat", "Asia/Kolkata")
    both = makers.a_person("both", "planner")
    both.appointments.create(site=kolkata, role="planner", starts_on=makers.LONG_AGO)
    day = dt.date(2026, 11, 25)
    makers.a_calibrated_point("LT-L", due_on=day)
    makers.a_calibrated_point("LT-K", due_on=day, tank=makers.a_tank(site=kolkata))
    late = dt.datetime(
        2026, 11, 25, 20, 0, tzinfo=dt.UTC
    )  # the 26th in Kolkata, still the 25th in Lisbon
    monkeypatch.setattr("django.utils.timezone.now", lambda: late)
    client = sign_in(both)
    assert tags(client.get("/due/?state=overdue").content.decode()) == ["LT-K"]
    assert tags(client.get("/due/?state=soon").content.decode()) == ["LT-L"]


def test_paging_shows_every_point_once_and_comes_back(show, today):
    for number in range(120):
        makers.a_point(f"LT-{number}", due_on=today + dt.timedelta(number % 7))
    seen, html = [], show()
    while True:
        seen.append(tags(html))
        following = re.search(r'rel="next" href="([^"#]+)', html)
        if not following:
            break
        html = show(following[1].replace("&amp;", "&"))
    assert [len(one) for one in seen] == [50, 50, 20]
    assert len({tag for one in seen for tag in one}) == 120
    for earlier in (seen[1], seen[0]):
        back = re.search(r'rel="prev" href="([^"#]+)', html)
        assert back
        html = show(back[1].replace("&amp;", "&"))
        assert tags(html) == earlier
    assert 'rel="prev"' not in html


def test_sorting_by_tag_follows_numbers(show, today):
    for tag in ("LT-10", "LT-2", "LT-1"):
        makers.a_point(tag, due_on=today)
    assert tags(show("?sort=tag")) == ["LT-1", "LT-2", "LT-10"]
    html = show("?sort=-tag")
    assert tags(html) == ["LT-10", "LT-2", "LT-1"]
    assert 'aria-sort="descending"' in html


def test_filters_narrow_by_text_area_duty_and_principle(show, today):
    quay = makers.an_equipped_point("LT-1", due_on=today, duty="safety")
    west = makers.a_tank("T-9", area=makers.an_area(name="West park"))
    other = makers.a_point("LT-2", tank=west, due_on=today)
    makers.an_installation(other, makers.a_transmitter(principle="radar"))
    assert tags(show("?text=t-9")) == ["LT-2"]
    assert tags(show("?text=olein")) == ["LT-1", "LT-2"]
    assert tags(show(f"?area={quay.tank.area_id}")) == ["LT-1"]
    assert tags(show("?duty=safety")) == ["LT-1"]
    assert tags(show("?principle=radar")) == ["LT-2"]


@pytest.mark.parametrize(
    ("days", "tested", "said"),
    [
        (-20, 400, 'class="limit past"'),
        (900, 400, 'class="limit"'),
        (-400, 400, "could be out already"),
    ],
)
def test_a_limit_day_that_has_passed_looks_different(show, today, days, tested, said):
    point = makers.an_equipped_point("LT-1", due_on=today)
    device = point.installations.get().transmitter
    makers.an_unsaved_record(point, today - dt.timedelta(tested), device, found_errors=[0.1]).save()
    Trend.objects.create(
        site=point.site, point=point, transmitter=device, results=3, zero_rate=0.1,
        crossing_on=today + dt.timedelta(days), crossing_of="zero",
    )  # fmt: skip
    assert said in show()


def test_two_sites_have_two_pictures_of_their_work(show, today, site, planner):
    other = makers.a_site("N", "Neelghat")
    Appointment.objects.create(
        person=planner, site=other, role="planner", starts_on=makers.LONG_AGO
    )
    makers.a_point("LT-1", due_on=today)
    makers.a_point("LT-2", tank=makers.a_tank(site=other), due_on=today)
    html = show()
    assert html.count('<svg class="load"') == 2
    assert "by week at Marram Point, " in html
    assert "by week at Neelghat, " in html
    assert re.search(rf"site={other.pk}&amp;week=|week=[\d-]+&amp;site={other.pk}", html)


def test_a_week_of_the_workload_opens_its_points(show, today):
    monday = today - dt.timedelta(today.weekday()) + dt.timedelta(14)
    makers.a_point("LT-1", due_on=monday + dt.timedelta(6))
    makers.a_point("LT-2", due_on=monday + dt.timedelta(7))
    html = show()
    assert f"week={monday}" in html
    assert tags(show(f"?week={monday}")) == ["LT-1"]


def test_overdue_work_counts_in_this_week(show, today):
    makers.a_point("LT-1", due_on=today - dt.timedelta(90))
    monday = today - dt.timedelta(today.weekday())
    assert f"week={monday}" in show()
    assert tags(show(f"?week={monday}")) == ["LT-1"]


@pytest.mark.parametrize(
    "query",
    ["?state=nonsense", "?after=xyz", "?after=9~2026-99-99", "?area=x", "?week=soon", "?site=99999999999999999999",
     "?after=99999999999999999999999~2026-01-01"],
)  # fmt: skip
def test_an_address_that_makes_no_sense_shows_the_usual_list_and_says_so(show, today, query):
    a_spread(today)
    html = show(query)
    assert tags(html) == ["LT-8", "LT-9", "LT-10", "LT-1", "LT-2", "LT-3"]
    assert "was not recognised" in html


def test_only_planners_tick_points_and_only_those_that_can_join(
    show, sign_in, today, technician, auditor, planner
):
    free = makers.a_point("LT-1", due_on=today)
    busy = makers.a_point("LT-2", due_on=today)
    jobs.start(busy, by=technician)
    html = show()
    assert f'value="{free.pk}" aria-label="LT-1 into the round"' in html
    assert "LT-2 into the round" not in html
    assert "LT-2 cannot join" in html
    assert "checkbox" not in sign_in(auditor).get("/due/").content.decode()
    assert "defer" not in re.sub(
        "deferred|Deferrals|deferrals", "", sign_in(auditor).get("/due/").content.decode()
    )
    assert html.count(" checked") == 0
    assert show("?tick=all").count(" checked") == 1


def test_an_empty_list_says_what_to_do(show):
    assert "Nothing needs anybody" in show()
    assert "No measuring point matches" in show("?text=zzz")


@pytest.mark.parametrize("points", [60, 600])
def test_the_page_asks_at_most_twelve_questions_whatever_the_register_holds(sign_in, db, points):
    planner = fleet.fill(points, day=timezone.now().date())
    client = sign_in(planner)
    with CaptureQueriesContext(connection) as asked:
        html = client.get("/due/?state=in date").content.decode()
    assert len(tags(html)) > 30
    assert len(asked) <= 12, [query["sql"][:90] for query in asked]
    of_the_list = ("plant_measuringpoint", "calibration_calibration", "plant_duecount")
    listed = [query for query in asked if any(table in query["sql"] for table in of_the_list)]
    assert len(listed) <= 6
