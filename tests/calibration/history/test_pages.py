"""A point's history: the register as it stood on any day, and all that happened, with who, when and
why.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal

import pytest
from django.db import connection
from django.db.backends.utils import CursorWrapper
from django.urls import reverse

from calibration.history import as_it_stood as history
from calibration.history import timeline
from plant.ledger.models import RowHistory
from plant.points import acts as points
from plant.points.models import MeasuringPoint
from plant.saving import mark_of
from plant.transmitters import acts as installing
from plant.transmitters.models import Installation
from tests.makers import (
    LONG_AGO,
    NOON,
    TODAY,
    a_point,
    a_tank,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@contextmanager
def walls_down(**walls: str) -> Iterator[CursorWrapper]:
    """The database's clock is no argument, so tests set times back afterwards, as the owner of the
    tables.

    No page or operation can do this; that the walls refuse it is tested elsewhere.
    """
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table, trigger in walls.items():
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER {trigger}")
        yield cursor
        for table, trigger in walls.items():
            cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER {trigger}")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def entered_on(day: dt.date) -> None:
    """Set back to when all of it was entered."""
    tables = ("plant_measuringpoint", "plant_installation", "plant_tank")
    with walls_down(**{table: f"{table}_kept_update" for table in tables}) as cursor:
        for table in tables:
            cursor.execute(f"UPDATE {table} SET entered_at = %s", [_morning(day)])  # noqa: S608


def changed_on(day: dt.date, *, at: dt.time = dt.time(9)) -> None:
    """Set back when the latest change was made."""
    with walls_down(plant_rowhistory="plant_rowhistory_only_added"):
        last = RowHistory.objects.latest("pk").pk
        RowHistory.objects.filter(pk=last).update(at=_morning(day, at))


def _morning(day: dt.date, at: dt.time = dt.time(9)) -> dt.datetime:
    return dt.datetime.combine(day, at, tzinfo=dt.UTC)


def with_tolerance(point: MeasuringPoint, tolerance: str, why: str, by) -> MeasuringPoint:
    point = MeasuringPoint.objects.select_related("site", "tank").get(pk=point.pk)
    seen = mark_of(point, points.POINT_FIELDS)
    point.tolerance = Decimal(tolerance)
    return points.change(point, seen=seen, why=why, by=by)


@pytest.fixture
def changed_twice(planner) -> MeasuringPoint:
    """Entered on 5 January with ±1 %; ±0.8 % since 10 March; ±0.6 % since 20 May."""
    point = an_equipped_point(tolerance=Decimal(1), adjust_limit=Decimal("0.5"))
    entered_on(dt.date(2026, 1, 5))
    with_tolerance(point, "0.8", "first audit", planner)
    changed_on(dt.date(2026, 3, 10))
    with_tolerance(point, "0.6", "second audit", planner)
    changed_on(dt.date(2026, 5, 20))
    return MeasuringPoint.objects.select_related("site", "tank").get(pk=point.pk)


@pytest.mark.parametrize(
    ("day", "tolerance"),
    [
        (dt.date(2026, 1, 5), "1"),
        (dt.date(2026, 3, 9), "1"),
        (dt.date(2026, 3, 10), "0.8"),
        (dt.date(2026, 5, 19), "0.8"),
        (dt.date(2026, 5, 20), "0.6"),
        (TODAY, "0.6"),
    ],
)
def test_the_register_stands_as_it_did_at_the_end_of_each_day(changed_twice, day, tolerance):
    stood = history.as_it_stood(changed_twice, day=day)
    assert stood.point.tolerance == Decimal(tolerance)
    assert (stood.tank, stood.product) == ("T-101", "palm olein")
    assert stood.point.limits.percent == pytest.approx(float(tolerance))


def test_before_it_was_entered_the_book_did_not_have_the_point(changed_twice):
    assert history.as_it_stood(changed_twice, day=dt.date(2026, 1, 4)) is None


def test_a_day_ends_by_the_clock_of_the_site(planner):
    point = an_equipped_point(tolerance=Decimal(1), adjust_limit=Decimal("0.5"))
    entered_on(dt.date(2026, 1, 5))
    with_tolerance(point, "0.8", "audit", planner)
    # 23:30 UTC on 10 June is half past midnight on the 11th in Lisbon.
    changed_on(dt.date(2026, 6, 10), at=dt.time(23, 30))
    point = MeasuringPoint.objects.select_related("site").get(pk=point.pk)
    assert history.as_it_stood(point, day=dt.date(2026, 6, 10)).point.tolerance == 1
    assert history.as_it_stood(point, day=dt.date(2026, 6, 11)).point.tolerance == Decimal("0.8")


def test_a_swap_entered_late_is_told_apart_from_what_the_book_said_that_day(planner):
    point = an_equipped_point()
    entered_on(dt.date(2026, 1, 5))
    old = point.installations.get()
    installing.swap(
        point, transmitter=a_transmitter("NEW1"), seen=old.pk, goes="spare", on=dt.date(2026, 2, 1), today=TODAY,
        why="entered late", by=planner,
    )  # fmt: skip
    point = MeasuringPoint.objects.select_related("site").get(pk=point.pk)
    stood = history.as_it_stood(point, day=dt.date(2026, 6, 1))
    assert stood.transmitter == str(old.transmitter)
    assert "NEW1" in stood.transmitter_now
    assert stood.corrected_later


def test_the_page_shows_the_day_asked_for(changed_twice, auditor, sign_in):
    page = sign_in(auditor).get(address(changed_twice), {"day": "2026-04-01"})
    assert "At the end of Wednesday 1 Apr 2026 the register said" in page.content.decode()
    assert "±0.8 % of span" in page.content.decode()
    page = sign_in(auditor).get(address(changed_twice), {"day": "2025-12-31"})
    assert "Spanbook had no LT-101A on Wednesday 31 Dec 2025" in page.content.decode()


def test_a_day_to_come_is_refused_beside_its_field(changed_twice, auditor, sign_in):
    page = sign_in(auditor).get(address(changed_twice), {"day": "2027-01-01"})
    assert "still to come" in page.content.decode()
    assert sign_in(auditor).get(address(changed_twice), {"day": "nonsense"}).status_code == 200


def address(point: MeasuringPoint, name: str = "history") -> str:
    return reverse(f"calibration:{name}", args=[point.pk])


@pytest.mark.django_db(transaction=True)
def test_each_change_stands_there_with_who_and_why(changed_twice, auditor, sign_in):
    page = sign_in(auditor).get(address(changed_twice)).content.decode()
    assert "first audit" in page
    assert "second audit" in page
    assert "0.8 → 0.6" in page
    assert "A. Marrowby" in page


def test_what_happened_comes_latest_first(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver, found=[1.4] * 9, left=[0] * 9)
    events = timeline.of_point(
        MeasuringPoint.objects.select_related("site").get(pk=record.point_id)
    )
    days = [event.day for event in events]
    assert days == sorted(days, reverse=True)
    said = " | ".join(event.what for event in events)
    assert f"record {record.pk} approved" in said
    assert "as found fail, adjusted, as left pass" in said
    assert "opened by record" in said
    assert "installed" in said


@pytest.mark.django_db(transaction=True)
def test_a_change_past_the_operations_is_shown_as_such(changed_twice):
    MeasuringPoint.objects.filter(pk=changed_twice.pk).update(tolerance=3)
    past, *others = [e for e in timeline.of_point(changed_twice) if e.kind == "register"]
    assert past.what == "changed without an entry in the ledger"
    assert (past.who, past.tone) == ("", "bad")
    assert [(c.was, c.now) for c in past.changes] == [("0.6", "3")]
    assert others[0].what == "change point"


def test_the_csv_has_every_event(changed_twice, auditor, sign_in):
    answer = sign_in(auditor).get(address(changed_twice, "history_csv"))
    text = b"".join(answer.streaming_content).decode()
    assert text.splitlines()[0].endswith("day,kind,what,who,why,entered,what changed")
    assert len(text.splitlines()) == 1 + len(timeline.of_point(changed_twice))


def test_a_technician_reads_the_history_without_links_to_the_ledger(
    changed_twice, technician, auditor, sign_in
):
    assert "/ledger/" in sign_in(auditor).get(address(changed_twice)).content.decode()
    page = sign_in(technician).get(address(changed_twice))
    assert page.status_code == 200
    assert "change point" in page.content.decode()
    assert "/ledger/" not in page.content.decode()


def test_a_point_of_another_site_is_not_there(changed_twice, outsider, sign_in):
    for name in ("history", "history_csv", "point"):
        assert sign_in(outsider).get(address(changed_twice, name)).status_code == 404


def test_a_transmitters_history_follows_it_from_point_to_point(planner, auditor, sign_in):
    device = a_transmitter("MOVED")
    tank = a_tank()
    first, second = a_point("LT-101A", tank=tank), a_point("LT-101B", tank=tank)
    for point, start, end in (
        (first, LONG_AGO, dt.date(2024, 1, 1)),
        (second, dt.date(2024, 1, 1), None),
    ):
        Installation.objects.create(
            site=point.site, point=point, transmitter=device, installed_on=start, removed_on=end
        )
    page = sign_in(auditor).get(reverse("calibration:history_transmitter", args=[device.pk]))
    text = page.content.decode()
    assert text.index("LT-101B installed") < text.index("LT-101A installed")
    assert "LT-101A removed" in text


def test_the_page_asks_the_database_no_more_for_a_longer_history(
    technician, approver, auditor, sign_in, django_assert_max_num_queries
):
    point = an_equipped_point()
    for n in range(4):
        day = TODAY - dt.timedelta(days=10 * n)
        an_approved_record(point, by=technician, approved_by=approver, at=NOON, done_on=day)
    client = sign_in(auditor)
    with django_assert_max_num_queries(12):
        client.get(address(point))
