"""G1: the due list, a full request, beside raw SQL in a plain template; and that it does not grow
with the register.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.db import connection
from django.http import QueryDict
from django.test import Client, override_settings
from django.utils import timezone

from calibration.due import reads as listing
from plant.pages.paging import page_of
from plant.people.models import Person
from plant.sites.models import Site
from tests.bench import fleet, floor_page
from tests.bench.pairs import Row, compare

SMALL, LARGE = 1_000, 100_000
LIST = "/due/?state=in+date"


@override_settings(ROOT_URLCONF="tests.bench.floor_page", ALLOWED_HOSTS=["testserver"])
def run(scale: int | None) -> list[Row]:
    small, large = (min(scale, SMALL), scale) if scale else (SMALL, LARGE)
    first, usual = _measure(small)
    if large == small:
        return first
    second, grown = _measure(large)
    ratio = grown / usual
    return [
        *first,
        *second,
        Row(
            "G1c",
            f"page at {large:,} / at {small:,}",
            large,
            usual,
            grown,
            ratio,
            (ratio, ratio),
            1.3,
        ),
    ]


def _measure(points: int) -> tuple[list[Row], float]:
    """The rows of one size of register, and the page's median in ms."""
    day = timezone.now().date()
    planner = fleet.fill(points, day=day)
    try:
        site = Site.objects.get(code="B")
        today = site.day_of(timezone.now())
        page, floor = _asks(planner, LIST), _floor(planner, site, today)
        whole = compare(
            "G1a", "due list, full request", rows=points, floor=floor, product=page, at_most=2.5, pairs=40, warm=8
        )  # fmt: skip
        share = compare(
            "G1b", "its rows and counts in the database", rows=points,
            floor=lambda: floor_page.read(site.pk, today), product=_replay(site, today), at_most=4, pairs=100, warm=12,
        )  # fmt: skip
        last = _asks(planner, f"{LIST}&after={_last_place(site, today)}")
        ends = compare(
            "G1c", "last page / first page", rows=points, floor=page, product=last, at_most=1.2, pairs=40, warm=4
        )  # fmt: skip
        return [whole, share, ends], whole.product_ms
    finally:
        fleet.empty()


def _asks(planner: Person, url: str) -> Callable[[], object]:
    client = Client()
    client.force_login(planner, backend="django.contrib.auth.backends.ModelBackend")

    def ask() -> None:
        answer = client.get(url)
        assert answer.status_code == 200
        assert answer.content.count(b'class="plate"') >= 50

    return ask


def _floor(planner: Person, site: Site, today: dt.date) -> Callable[[], object]:
    """The plain page behind session and person only: the handler keeps what it loaded first."""
    client = Client()
    client.force_login(planner, backend="django.contrib.auth.backends.ModelBackend")
    url = f"/floor/{site.pk}/{today}/"
    with override_settings(MIDDLEWARE=floor_page.MIDDLEWARE):
        client.get(url)

    def ask() -> None:
        assert client.get(url).content.count(b"<tr>") == 50

    return ask


def _replay(site: Site, today: dt.date) -> Callable[[], object]:
    """The statements the page asks for rows and counts, caught once and asked again without the ORM
    around them.
    """
    asked: list[tuple[str, object]] = []

    def catch(execute, sql, params, many, context):
        asked.append((sql, params))
        return execute(sql, params, many, context)

    days = {site.pk: today}
    with connection.execute_wrapper(catch):
        parts = listing.points_in([site], days, {"state": "in date"})
        page = page_of(parts, listing.ORDERS["due"], query=QueryDict(), counts=False)
        listing.rows_of(page.ids, days)
        listing.counts_of(days)

    def replay() -> None:
        with connection.cursor() as cursor:
            for sql, params in asked:
                cursor.execute(sql, params)
                cursor.fetchall()

    return replay


def _last_place(site: Site, today: dt.date) -> str:
    """Where the last full page begins."""
    [points] = listing.points_in([site], {site.pk: today}, {"state": "in date"})
    key, pk = points.order_by("-next_due", "-id").values_list("next_due", "id")[50]
    return f"{pk}~{key}"
