"""The register's list: who sees it, what it finds, what it costs."""

import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone

from plant.points.models import MeasuringPoint
from tests.makers import (
    LONG_AGO,
    a_person,
    a_point,
    a_product,
    a_site,
    a_tank,
    a_transmitter,
    an_area,
    an_installation,
    an_unsaved_record,
)

pytestmark = pytest.mark.django_db

PLATE = 'class="plate" href="/points/{}/"'


def tags_on(page) -> list[str]:
    return [row.tag for row in page.context["page"].rows]


@pytest.fixture
def three(site):
    """LT-2 with a rod in T-101, LT-10 with a radar in T-202, LT-30 at T-202 with nothing."""
    lye = a_product(name="lye 32 %", conducts=True)
    other = a_tank("T-202", area=an_area(name="North farm"), product=lye)
    first = a_point("LT-10", other, duty="safety", due_on=timezone.now().date() + dt.timedelta(60))
    second = a_point("LT-2")
    third = a_point(
        "LT-30", other, out_of_service_on=dt.date(2026, 1, 5), out_of_service_why="relined"
    )
    for point, device in (
        (second, a_transmitter("A77")),
        (first, a_transmitter("B88", principle="radar")),
    ):
        an_installation(point, device)
        ends = {"lower": point.lower, "upper": point.upper}
        an_unsaved_record(point, LONG_AGO, device, **ends).save()
    return second, first, third


def test_the_register_sorts_tags_as_people_do(three, sign_in, planner):
    assert tags_on(sign_in(planner).get("/register/")) == ["LT-2", "LT-10", "LT-30"]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("q=lt-1", ["LT-10"]),
        ("q=a77", ["LT-2"]),
        ("q=t-202", ["LT-10", "LT-30"]),
        ("q=t-202+b88", ["LT-10"]),
        ("principle=radar", ["LT-10"]),
        ("duty=safety", ["LT-10"]),
        ("state=off", ["LT-30"]),
        ("state=later", ["LT-10"]),
        ("state=overdue", ["LT-2"]),
        ("sort=-tag", ["LT-30", "LT-10", "LT-2"]),
        ("sort=due&state=", ["LT-2", "LT-30", "LT-10"]),
        ("sort=nonsense", ["LT-2", "LT-10", "LT-30"]),
        ("after=99999999999999999999", ["LT-2", "LT-10", "LT-30"]),
        ("after=abc", ["LT-2", "LT-10", "LT-30"]),
    ],
)
def test_the_register_finds_by_every_filter(three, sign_in, planner, query, found):
    MeasuringPoint.objects.filter(tag__in=["LT-2", "LT-30"]).update(due_on=dt.date(2020, 1, 1))
    assert tags_on(sign_in(planner).get(f"/register/?{query}")) == found


def test_the_register_filters_by_area(three, sign_in, planner):
    area = an_area(name="North farm")
    assert tags_on(sign_in(planner).get(f"/register/?area={area.pk}")) == ["LT-10", "LT-30"]


def test_an_unknown_filter_value_shows_everything_rather_than_failing(three, sign_in, planner):
    assert sign_in(planner).get("/register/?area=0&duty=none&state=odd").status_code == 200


@pytest.mark.parametrize("role", ["planner", "technician", "approver", "auditor"])
def test_every_record_role_sees_the_register(three, sign_in, request, role):
    page = sign_in(request.getfixturevalue(role)).get("/register/")
    assert len(tags_on(page)) == 3
    assert (b"Add a measuring point" in page.content) == (role == "planner")
    assert (b"export.csv" in page.content) == (role != "technician")


def test_an_outsider_sees_nothing_of_the_site(three, sign_in, outsider):
    page = sign_in(outsider).get("/register/")
    assert tags_on(page) == []
    assert b"LT-2" not in page.content


def test_a_person_of_two_sites_sees_both_and_may_choose_one(three, sign_in):
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    a_point("LT-1", a_tank("T-1", elsewhere))
    both = a_person("both", "planner")
    both.appointments.create(site=elsewhere, role="planner", starts_on=dt.date(2020, 1, 1))
    client = sign_in(both)
    assert len(tags_on(client.get("/register/"))) == 4
    assert tags_on(client.get(f"/register/?site={elsewhere.pk}")) == ["LT-1"]
    assert tags_on(client.get("/register/?state=off")) == ["LT-30"]


def test_pages_follow_each_other_both_ways_without_loss(site, sign_in, planner):
    tank = a_tank()
    made = [a_point(f"LT-{n}", tank).tag for n in range(1, 121)]
    client = sign_in(planner)
    seen, address = [], "/register/"
    while address:
        page = client.get(address)
        seen.append(tags_on(page))
        address = page.context["page"].later and f"/register/{page.context['page'].later}"
    assert [len(tags) for tags in seen] == [50, 50, 20]
    assert [tag for tags in seen for tag in tags] == made
    back = client.get(f"/register/{page.context['page'].earlier}")
    assert tags_on(back) == seen[1]
    first = client.get(f"/register/{back.context['page'].earlier}")
    assert tags_on(first) == seen[0]
    assert first.context["page"].earlier == ""


def test_the_register_costs_the_same_few_queries_for_fifty_rows(
    site, sign_in, planner, django_assert_max_num_queries
):
    tank = a_tank()
    for n in range(60):
        an_installation(a_point(f"LT-{n}", tank))
    client = sign_in(planner)
    with django_assert_max_num_queries(6):
        assert len(tags_on(client.get("/register/"))) == 50


def test_an_empty_register_says_what_to_do_first(sign_in, planner, technician):
    page = sign_in(planner).get("/register/").content
    assert b"Add the tank, then the point" in b" ".join(page.split())
    page = sign_in(technician).get("/register/").content
    assert b"A planner of your site adds measuring points" in b" ".join(page.split())


def test_a_row_shows_range_tolerance_and_state(sign_in, planner):
    point = a_point(tolerance=Decimal("0.5"), due_on=timezone.now().date() - dt.timedelta(3))
    text = sign_in(planner).get("/register/").content.decode()
    assert PLATE.format(point.pk) in text
    assert "0.300 to 8.300\u00a0m" in text
    assert "±0.50" in text
    assert "overdue" in text
