"""One way of paging: by the place of a row, which an address names whatever happens to the row."""

from __future__ import annotations

import datetime as dt

import pytest
from django.http import QueryDict

from plant.pages.paging import page_of
from plant.points.models import MeasuringPoint
from tests.makers import TODAY, a_point

pytestmark = pytest.mark.django_db

DUE = ("next_due",)


@pytest.fixture
def points(site):
    """Seven points, two due each day and the last alone."""
    return [a_point(f"LT-{n}", due_on=TODAY + dt.timedelta(n // 2)) for n in range(7)]


def paged(address="", keys=DUE, rows=None, **more):
    rows = MeasuringPoint.objects.all() if rows is None else rows
    return page_of(rows, keys, query=QueryDict(address.lstrip("?")), size=3, **more)


def walked(keys, **more) -> list[list[int]]:
    pages, address = [], ""
    while True:
        page = paged(address, keys, **more)
        pages.append(page.ids)
        if not page.later:
            return pages
        address = page.later


@pytest.mark.parametrize("keys", [DUE, ("-next_due",), ("site_id", "tag_key"), ("-duty", "-tag")])
def test_every_row_is_shown_once_on_the_way_there_and_back(points, keys):
    names = [f"{'-' if keys[0].startswith('-') else ''}{k.lstrip('-')}" for k in (*keys, "pk")]
    expected = list(MeasuringPoint.objects.order_by(*names).values_list("pk", flat=True))
    assert walked(keys) == [expected[:3], expected[3:6], expected[6:]]
    last = paged(paged(paged("", keys).later, keys).later, keys)
    assert paged(last.earlier, keys).ids == expected[3:6]
    assert paged(paged(last.earlier, keys).earlier, keys).ids == expected[:3]


def test_several_lists_are_read_as_one(points):
    parts = [
        MeasuringPoint.objects.filter(tag__lt="LT-4"),
        MeasuringPoint.objects.filter(tag__gte="LT-4"),
    ]
    assert walked(DUE, rows=parts) == walked(DUE)


def test_rows_come_joined_and_in_order(points):
    page = paged("", joined=MeasuringPoint.objects.select_related("tank"))
    assert [row.pk for row in page.rows] == page.ids
    assert page.total == 7


def test_a_row_that_moves_on_meanwhile_takes_no_others_with_it(points):
    """The last point of a page is approved: its next page still begins where the page ended."""
    page = paged()
    MeasuringPoint.objects.filter(pk=page.ids[-1]).update(due_on=TODAY + dt.timedelta(365))
    assert paged(page.later).ids[:3] == [points[3].pk, points[4].pk, points[5].pk]


@pytest.mark.parametrize("address", ["after={pk}", "after={pk}~{day}", "after={day}.{pk}"])
def test_addresses_kept_from_before_still_open(points, address):
    place = address.format(pk=points[2].pk, day=points[2].due_on)
    page = paged(place)
    assert page.ids == [one.pk for one in points[3:6]]
    assert not page.is_misread


@pytest.mark.parametrize(
    "address",
    [
        "after=x",
        "before=9~2026-99-99",
        "after=1~2026-01-01~x",
        "after=%00",
        "after=-1",
        "after=0",
        f"after={'9' * 30}~2026-01-01",
    ],
)
def test_an_address_that_names_no_place_shows_the_first_page_and_says_so(points, address):
    page = paged(address)
    assert page.ids == paged().ids
    assert page.is_misread


def test_signs_that_part_a_place_may_stand_in_a_name(site):
    for n in range(4):
        a_point(f"LT~{n}%7E")
    assert walked(("tag",)) == walked(("pk",))
