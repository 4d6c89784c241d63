"""The steps of an import: kept, leased, applied or given up, and what each state refuses."""

from __future__ import annotations

import datetime as dt
import hashlib

import pytest

from calibration.importing.kinds import IMPORTERS, run_now
from plant.importing import acts as imports
from plant.importing.models import ImportBatch
from plant.importing.refusals import FileTooLarge, NotChecked, NotOpen, UnreadableFile
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.sites.models import Site
from tests.files import reasons, send
from tests.makers import NOON
from tests.plant.importing.register_rows import FULL, HEADER, rows
from tests.races import at_once, outcomes

pytestmark = pytest.mark.django_db

SECOND = dt.timedelta(seconds=1)


def received(data: bytes = FULL.encode(), *, by, name: str = "points.csv") -> ImportBatch:
    facts = {"file_name": name, "kind": "register", "site": Site.objects.get(), "at": NOON}
    return imports.receive([data], **facts, by=by)


# ---- kept ----
def test_a_file_is_kept_under_the_hash_of_its_content(tank, planner, uploads):
    batch = received(by=planner, name="C:\\lists\\points\r.csv")
    digest = hashlib.sha256(FULL.encode()).hexdigest()
    assert (batch.sha256, batch.stored_as, batch.size) == (digest, f"{digest}.csv", len(FULL))
    assert (batch.file_name, batch.state) == ("points.csv", "waiting")
    assert (batch.uploaded_by, batch.uploaded_at) == (planner, NOON)
    assert imports.path_of(batch).read_bytes() == FULL.encode()
    assert [path.name for path in uploads.iterdir()] == [batch.stored_as]


@pytest.mark.parametrize("name", ["", "\r\n", "a/"])
def test_a_file_without_a_name_is_called_so(tank, planner, name):
    assert received(by=planner, name=name).file_name == "unnamed"


def test_a_long_name_keeps_its_end(tank, planner):
    assert received(by=planner, name="x" * 300 + ".csv").file_name == "x" * 196 + ".csv"


@pytest.mark.parametrize(("longest", "kept"), [(len(FULL), True), (len(FULL) - 1, False)])
def test_a_file_too_large_leaves_nothing_behind(tank, planner, uploads, monkeypatch, longest, kept):
    monkeypatch.setattr(imports, "LARGEST_FILE", longest)
    if kept:
        assert received(by=planner).pk
        return
    with pytest.raises(FileTooLarge):
        received(by=planner)
    assert list(uploads.iterdir()) == []
    assert not ImportBatch.objects.exists()


def test_what_is_no_table_is_refused_at_once(tank, planner, uploads):
    with pytest.raises(UnreadableFile):
        received(b"%PDF-1.7 \x00\x01", by=planner)
    assert list(uploads.iterdir()) == []


# ---- leased ----
def test_a_claimed_import_is_leased_for_a_quarter_of_an_hour(tank, planner):
    batch = received(by=planner)
    claimed = imports.claim(at=NOON)
    claimed.refresh_from_db()
    assert (claimed.pk, claimed.state, claimed.progress) == (batch.pk, "checking", 5)
    assert claimed.claimed_until == NOON + dt.timedelta(minutes=15)
    assert imports.claim(at=NOON + imports.LEASE - SECOND) is None
    assert imports.claim(at=NOON + imports.LEASE).pk == batch.pk


def test_the_first_that_came_is_claimed_first_or_the_one_that_is_named(tank, planner):
    first, second = received(by=planner), received(by=planner)
    assert imports.claim(at=NOON, batch=second).pk == second.pk
    assert imports.claim(at=NOON).pk == first.pk
    assert imports.claim(at=NOON) is None


@pytest.mark.django_db(transaction=True)
def test_two_workers_claim_two_imports(tank, planner):
    for _ in range(3):
        made = {received(by=planner).pk, received(by=planner).pk}
        claimed = at_once(*[lambda: imports.claim(at=NOON)] * 2)
        assert {batch.pk for batch in claimed} == made


def test_a_worker_whose_lease_another_took_stores_nothing(tank, planner):
    received(by=planner)
    slow = imports.claim(at=NOON)
    imports.claim(at=NOON + imports.LEASE)
    with pytest.raises(imports.ClaimLost):
        imports.run(slow, IMPORTERS, at=NOON)
    assert ImportBatch.objects.get().state == "checking"
    with pytest.raises(imports.ClaimLost):  # nor what is wrong with it
        imports.run(_of_nonsense(slow), IMPORTERS, at=NOON)
    assert reasons(slow) == []


def _of_nonsense(batch: ImportBatch) -> ImportBatch:
    batch.sha256 = "0" * 64
    return batch


# ---- applied ----
def test_a_checked_file_waits_to_be_applied_by_whom_and_why(tank, planner):
    batch = imports.ask_to_apply(send(FULL, by=planner), why=" list of May ", by=planner)
    batch.refresh_from_db()
    assert (batch.state, batch.applied_by) == ("to apply", planner)
    assert (batch.why, batch.progress) == ("list of May", 0)
    done = run_now(batch, at=NOON + SECOND)
    done.refresh_from_db()
    assert (done.state, done.applied_at, done.progress) == ("applied", NOON + SECOND, 100)
    assert (done.rows_read, done.rows_new, done.rows_changed, done.rows_same) == (2, 2, 0, 0)


def test_only_a_checked_file_is_applied(tank, planner):
    waiting = received(by=planner)
    refused = send(rows(HEADER, "LT-1,T-999,0.3,8.3,1"), by=planner)
    for batch in (waiting, refused):
        with pytest.raises(NotChecked) as refusal:
            imports.ask_to_apply(batch, by=planner)
        assert refusal.value.state == batch.get_state_display()
    assert not MeasuringPoint.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_who_apply_at_once_one_is_told(tank, planner):
    batch = send(FULL, by=planner)
    outcome = outcomes(*[lambda: imports.ask_to_apply(batch, by=planner)] * 2)
    assert outcome[1] == "done"
    assert "it cannot be applied now" in outcome[0]


# ---- given up ----
def test_what_waits_is_checked_or_refused_may_be_given_up(tank, planner):
    batches = [
        received(by=planner),
        send(FULL, by=planner),
        send(rows(HEADER, "LT-1,T-999,0.3,8.3,1"), by=planner),
    ]
    for batch in batches:
        imports.withdraw(batch, by=planner)
        batch.refresh_from_db()
        assert batch.state == "withdrawn"
    assert reasons(batches[2])  # what was wrong with it stays
    shas = [entry.details["sha256"] for entry in LedgerEntry.objects.filter(act="withdraw import")]
    assert sorted(shas) == sorted(batch.sha256 for batch in batches)
    assert imports.claim(at=NOON) is None


def test_what_is_being_applied_or_was_is_not_given_up(tank, planner):
    batch = imports.ask_to_apply(send(FULL, by=planner), by=planner)
    with pytest.raises(NotOpen) as refusal:
        imports.withdraw(batch, by=planner)
    assert refusal.value.state == batch.get_state_display()
    done = run_now(batch, at=NOON)
    with pytest.raises(NotOpen):
        imports.withdraw(done, by=planner)


# ---- refused ----
def test_only_so_many_problems_are_kept_and_all_are_counted(tank, planner, monkeypatch):
    monkeypatch.setattr(imports, "MOST_KEPT", 2)
    lines = [f"LT-{n},T-999,0.3,8.3,1" for n in range(3)]
    batch = send(rows(HEADER, *lines), by=planner)
    batch.refresh_from_db()
    assert (batch.state, batch.problems_found, len(reasons(batch))) == ("refused", 3, 2)
    assert (batch.rows_read, batch.progress) == (3, 100)


def test_a_stored_file_that_is_gone_or_altered_is_said(tank, planner):
    gone, altered = received(by=planner), received(FULL.encode() + b"\n", by=planner)
    imports.path_of(gone).unlink()
    imports.path_of(altered).write_bytes(b"tag\n")
    assert "is gone from the server" in reasons(run_now(gone, at=NOON))[0][2]
    assert "not the one that was sent" in reasons(run_now(altered, at=NOON))[0][2]


def test_a_null_in_a_cell_is_shown_and_not_stored(tank, planner):
    assert imports._clip("a\0b", 3) == "a␀b"
    assert imports._clip("abcd", 3) == "ab…"
