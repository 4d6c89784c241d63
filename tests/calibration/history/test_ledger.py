"""The ledger as pages and file: who sees which entries, filters, paging, and what an act
changed.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import transaction
from django.urls import reverse

from plant.ledger.models import LedgerEntry
from plant.ledger.writer import enter
from plant.points import acts as points
from plant.points.models import MeasuringPoint
from plant.saving import mark_of
from tests.folded import folded
from tests.makers import TODAY, a_product, an_approved_record, an_equipped_point

pytestmark = pytest.mark.django_db
LEDGER = "/ledger/"


def an_entry(site, person, act: str = "add product", why: str = "", **details) -> LedgerEntry:
    with transaction.atomic():
        return enter(act, on=a_product(site), by=person, why=why, details=details)


def test_the_newest_entry_stands_first(site, planner, auditor, sign_in):
    an_entry(site, planner, why="the first")
    an_entry(site, planner, why="the second")
    page = sign_in(auditor).get(LEDGER).content.decode()
    assert page.index("the second") < page.index("the first")
    assert "A. Marrowby" in page


def test_entries_of_another_site_are_not_there(site, planner, auditor, outsider, sign_in):
    entry = an_entry(site, planner, why="ours alone")
    assert "ours alone" in sign_in(auditor).get(LEDGER).content.decode()
    assert "ours alone" not in sign_in(outsider).get(LEDGER).content.decode()
    assert sign_in(outsider).get(f"{LEDGER}{entry.pk}/").status_code == 404
    streamed = sign_in(outsider).get(reverse("calibration:ledger_csv")).streaming_content
    assert "ours alone" not in b"".join(streamed).decode()


def test_a_technician_reads_no_ledger(site, technician, sign_in):
    for name in ("ledger", "ledger_csv"):
        assert sign_in(technician).get(reverse(f"calibration:{name}")).status_code == 403


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ({"who": "marrow"}, {"seen by the planner"}),
        ({"act": "send"}, {"seen by the technician"}),
        ({"q": "by the tech"}, {"seen by the technician"}),
        ({"kind": "PRODUCT"}, {"seen by the planner", "seen by the technician"}),
        ({"kind": "tank"}, set()),
        ({"until": "2000-01-01"}, set()),
        ({"since": "2000-01-01"}, {"seen by the planner", "seen by the technician"}),
        ({"since": "no day"}, {"seen by the planner", "seen by the technician"}),
    ],
)
def test_the_filter_narrows_by_person_act_kind_day_and_text(
    asked, shown, site, planner, technician, auditor, sign_in
):
    an_entry(site, planner, "add product", why="seen by the planner")
    an_entry(site, technician, "send record", why="seen by the technician")
    page = sign_in(auditor).get(LEDGER, asked).content.decode()
    assert {
        why for why in ("seen by the planner", "seen by the technician") if why in page
    } == shown
    if not shown:
        assert "No matching entry" in page


def test_an_empty_ledger_says_so(auditor, sign_in):
    LedgerEntry.objects.all().exists()  # whatever the cast entered belongs to nobody's site here
    page = sign_in(auditor).get(LEDGER).content.decode()
    assert "No entries yet" in page


def test_a_day_includes_its_last_minute(site, planner, auditor, sign_in):
    entry = an_entry(site, planner, why="today's")
    day = entry.at.astimezone(dt.UTC).date()
    client = sign_in(auditor)
    assert "today&#x27;s" in client.get(LEDGER, {"since": day, "until": day}).content.decode()
    before = day - dt.timedelta(days=1)
    assert "today&#x27;s" not in client.get(LEDGER, {"until": before}).content.decode()


def test_pages_follow_one_another_without_a_gap_or_a_repeat(site, planner, auditor, sign_in):
    made = [an_entry(site, planner).pk for _ in range(120)]
    client, seen, url = sign_in(auditor), [], LEDGER
    for _ in range(5):
        page = client.get(url).context["page"]
        seen += [entry.pk for entry in page.rows]
        if not page.later:
            break
        url = LEDGER + page.later
    assert seen == made[::-1]


def test_a_page_costs_the_same_however_many_entries_it_shows(
    site, planner, auditor, sign_in, django_assert_max_num_queries
):
    for _ in range(60):
        an_entry(site, planner)
    client = sign_in(auditor)
    with django_assert_max_num_queries(9):
        client.get(LEDGER)


def test_an_entry_shows_the_rows_its_transaction_changed(planner, auditor, sign_in):
    point = an_equipped_point(tolerance=Decimal(1), adjust_limit=Decimal("0.5"))
    point = MeasuringPoint.objects.get(pk=point.pk)
    seen = mark_of(point, points.POINT_FIELDS)
    point.tolerance = Decimal("0.8")
    points.change(point, seen=seen, why="audit", by=planner)
    entry = LedgerEntry.objects.get(act="change point")
    page = folded(sign_in(auditor).get(f"{LEDGER}{entry.pk}/"))
    assert '<td data-label="Field">tolerance</td>' in page
    assert '<td data-label="Was">1</td><td data-label="Is">0.8</td>' in page
    assert "audit" in page


def test_an_approval_shows_the_due_date_it_moved(technician, approver, auditor, sign_in):
    record = an_approved_record(by=technician, approved_by=approver, done_on=TODAY)
    entry = LedgerEntry.objects.get(act="approve record")
    page = sign_in(auditor).get(f"{LEDGER}{entry.pk}/").content.decode()
    assert record.tag in page
    assert "due date" in page


def test_the_file_is_shielded_against_formulas_and_filtered(site, planner, auditor, sign_in):
    an_entry(site, planner, why="=cmd|' /C calc'!A0", tag="LT-101A")
    an_entry(site, planner, why="left out", tag="LT-101B")
    answer = sign_in(auditor).get(reverse("calibration:ledger_csv"), {"q": "calc"})
    text = b"".join(answer.streaming_content).decode()
    assert "'=cmd" in text
    assert "tag: LT-101A" in text
    assert "left out" not in text
    assert answer.headers["Content-Disposition"] == 'attachment; filename="ledger.csv"'
