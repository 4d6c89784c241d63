"""The outbox to the second: leases, pauses, the cap, the storm brake and what joins today's mail."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from calibration.jobs import acts as jobs
from calibration.reminders import acts as reminders
from calibration.reminders import lines, outbox
from calibration.reminders.mail import digest_mail
from calibration.reminders.models import Digest, Reminder, ReminderScan
from plant.ledger.models import LedgerEntry
from tests import makers
from tests.races import outcomes

pytestmark = pytest.mark.django_db

DAY = dt.date(2026, 11, 2)
MORNING = dt.datetime(2026, 11, 2, 6, 0, tzinfo=dt.UTC)
ONE_DAY, SECOND, MINUTE = dt.timedelta(1), dt.timedelta(seconds=1), dt.timedelta(minutes=1)


@pytest.fixture
def digest(planner) -> Digest:
    """One mail that waits, of a point that is due on the day."""
    makers.a_point(due_on=DAY)
    reminders.scan(at=MORNING)
    return Digest.objects.get()


def send_at(at: dt.datetime, **more) -> int:
    return outbox.send_waiting(clock=lambda: at, **more)


def refuse_all(self, messages):
    raise OSError("550 " + "x" * 600)


# ---- leases ----
def test_a_lease_runs_five_minutes_and_counts_a_try(digest):
    [claimed] = outbox.claim_waiting(at=MORNING)
    assert (claimed.claimed_until, claimed.tries) == (MORNING + 5 * MINUTE, 1)
    digest.refresh_from_db()
    assert (digest.claimed_until, digest.tries, digest.last_error) == (MORNING + 5 * MINUTE, 1, "")
    assert outbox.claim_waiting(at=MORNING + 5 * MINUTE - SECOND) == []
    [again] = outbox.claim_waiting(at=MORNING + 5 * MINUTE)
    assert again.tries == 2


@pytest.mark.parametrize(("seconds", "sent"), [(150, 1), (151, 0)])
def test_sending_stops_half_a_lease_before_its_end(digest, seconds, sent):
    claimed = outbox.claim_waiting(at=MORNING)
    at = MORNING + seconds * SECOND
    assert outbox.deliver_all(claimed, clock=lambda: at) == len(mail.outbox) == sent


@pytest.mark.parametrize(("tries", "minutes"), [(1, 2), (2, 4), (5, 32), (6, 60), (9, 60)])
def test_the_pause_after_an_error_doubles_up_to_an_hour(digest, monkeypatch, tries, minutes):
    monkeypatch.setattr(EmailBackend, "send_messages", refuse_all)
    Digest.objects.update(tries=tries - 1)
    assert send_at(MORNING) == 0
    digest.refresh_from_db()
    assert digest.claimed_until == MORNING + minutes * MINUTE
    assert (digest.tries, len(digest.last_error)) == (tries, 500)
    assert digest.last_error.startswith("OSError: 550")
    assert outbox.claim_waiting(at=MORNING + minutes * MINUTE - SECOND) == []
    [claimed] = outbox.claim_waiting(at=MORNING + minutes * MINUTE)
    assert claimed.last_error == ""


def test_what_left_is_kept_word_for_word(digest):
    assert send_at(MORNING) == 1
    digest.refresh_from_db()
    assert digest.sent_at == MORNING
    assert (digest.subject, digest.body) == (mail.outbox[0].subject, mail.outbox[0].body)
    assert digest.subject == "Marram Point: 1 due soon"


# ---- the cap ----
def test_the_cap_counts_what_left_within_a_minute_and_what_is_in_hand(planner, monkeypatch):
    monkeypatch.setattr(outbox, "MAILS_A_MINUTE", 2)
    for n in range(3):
        makers.a_person(f"planner{n}", "planner")
    makers.a_point(due_on=DAY)
    reminders.scan(at=MORNING)
    [dead] = outbox.claim_waiting(limit=1, at=MORNING)
    assert send_at(MORNING) == 1  # one is in hand, so there is room for one more
    assert send_at(MORNING + MINUTE - SECOND) == 0
    assert send_at(MORNING + MINUTE) == 1
    assert send_at(MORNING + 5 * MINUTE, limit=1) == 1
    assert send_at(MORNING + 5 * MINUTE) == 1
    dead.refresh_from_db()
    assert dead.sent_at == MORNING + 5 * MINUTE


def test_a_mail_that_failed_takes_no_room_while_it_pauses(planner, monkeypatch):
    monkeypatch.setattr(outbox, "MAILS_A_MINUTE", 1)
    makers.a_person("second", "planner")
    makers.a_point(due_on=DAY)
    reminders.scan(at=MORNING)
    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", refuse_all)
        assert send_at(MORNING) == 0
    assert send_at(MORNING + SECOND) == 1


def test_what_failed_before_comes_last(planner):
    makers.a_person("second", "planner")
    makers.a_point(due_on=DAY)
    reminders.scan(at=MORNING)
    Digest.objects.filter(person=planner).update(tries=1)
    [first] = outbox.claim_waiting(limit=1, at=MORNING)
    assert first.person != planner


# ---- why no mail goes out ----
@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"is_active": False}, outbox.NO_LONGER_HERE),
        ({"wants_mail": False}, lines.NO_MAIL_WANTED),
        ({"email": ""}, lines.NO_MAIL_WANTED),
    ],
)
def test_who_changed_since_the_morning_gets_no_mail(digest, planner, change, reason):
    type(planner).objects.filter(pk=planner.pk).update(**change)
    assert send_at(MORNING) == 0
    digest.refresh_from_db()
    assert (digest.left_out, digest.sent_at) == (reason, None)


def test_a_role_that_ends_today_still_brings_the_mail(digest, planner):
    planner.appointments.update(ends_on=DAY)
    assert send_at(MORNING) == 1


@pytest.mark.parametrize(
    ("dates", "is_reminded"),
    [
        ({"starts_on": DAY}, True),
        ({"starts_on": DAY + ONE_DAY}, False),
        ({"ends_on": DAY}, True),
        ({"ends_on": DAY - ONE_DAY}, False),
    ],
)
def test_a_planner_is_reminded_from_the_first_day_of_the_role_to_the_last(
    planner, dates, is_reminded
):
    planner.appointments.update(**dates)
    makers.a_point(due_on=DAY)
    reminders.scan(at=MORNING)
    assert Reminder.objects.exists() is is_reminded


def test_a_closed_planner_gets_no_reminder(planner):
    type(planner).objects.update(is_active=False)
    makers.a_point(due_on=DAY)
    assert reminders.scan(at=MORNING) == 0


def test_a_technician_hears_of_open_jobs_only(planner, technician):
    makers.a_record(makers.an_equipped_point(due_on=DAY), by=technician)
    other = makers.a_point("LT-2", due_on=DAY)
    jobs.cancel(jobs.plan(other, technician=technician, by=planner), why="no", by=planner)
    reminders.scan(at=MORNING)
    assert set(Reminder.objects.values_list("person", flat=True)) == {planner.pk}


# ---- the storm brake ----
def points_due(count: int) -> None:
    for n in range(count):
        makers.a_point(f"LX-{n}", due_on=DAY)


def scans_before(site, *, days: list[int], lines: int) -> None:
    for n in days:
        at = MORNING - n * ONE_DAY
        ReminderScan.objects.create(site=site, day=DAY - n * ONE_DAY, at=at, lines=lines)


def is_held() -> bool:
    reminders.scan(at=MORNING)
    return ReminderScan.objects.get(site__code="M", day=DAY).held


@pytest.mark.parametrize(("count", "held"), [(50, False), (51, True)])
def test_more_than_fifty_lines_are_held_where_nothing_is_usual_yet(planner, count, held):
    points_due(count)
    assert is_held() is held


@pytest.mark.parametrize(("count", "held"), [(54, False), (55, True)])
def test_more_than_three_times_the_usual_is_held(planner, count, held):
    scans_before(planner.appointments.get().site, days=[30], lines=18)
    points_due(count)
    assert is_held() is held


def test_what_was_usual_is_asked_of_this_site_within_a_month(planner):
    scans_before(planner.appointments.get().site, days=[31], lines=500)
    scans_before(makers.a_site("N", "Neelghat"), days=[1], lines=500)
    points_due(51)
    assert is_held()


def test_the_ledger_keeps_how_many_lines_were_written_and_whether_they_are_held(planner):
    points_due(51)
    assert reminders.scan(at=MORNING) == 51
    entry = LedgerEntry.objects.get(act="write reminders")
    assert (entry.person, entry.details) == (None, {"lines": 51, "held": True})


@pytest.mark.django_db(transaction=True)
def test_of_two_planners_who_release_at_once_one_reads_that_it_is_released(planner):
    second = makers.a_person("second", "planner")
    points_due(51)
    reminders.scan(at=MORNING)
    scanned = ReminderScan.objects.get()
    for times in range(1, 5):
        ReminderScan.objects.update(released_by=None, released_at=None)
        answers = outcomes(
            lambda: reminders.release(scanned, by=planner, at=MORNING),
            lambda: reminders.release(scanned, by=second, at=MORNING),
        )
        assert answers == ["The reminders of 2026-11-02 are not held any more.", "done"]
        assert LedgerEntry.objects.filter(act="release reminders").count() == times
    scanned.refresh_from_db()
    assert scanned.released_at == MORNING
    entry = LedgerEntry.objects.filter(act="release reminders").latest("pk")
    assert (entry.person, entry.details) == (scanned.released_by, {"lines": 102})


# ---- what joins today's mail ----
def test_a_mail_that_never_left_joins_today_s_and_says_so(digest):
    makers.a_point("LT-2", due_on=DAY + ONE_DAY)
    reminders.scan(at=MORNING + ONE_DAY)
    digest.refresh_from_db()
    assert digest.left_out == "sent with the mail of 2026-11-03"
    assert send_at(MORNING + ONE_DAY) == 1
    assert all(tag in mail.outbox[0].body for tag in ("LT-101A", "LT-2"))


def test_a_mail_of_one_site_joins_none_of_another(digest, planner):
    other = makers.a_site("N", "Neelghat")
    planner.appointments.create(site=other, role="planner", starts_on=makers.LONG_AGO)
    makers.a_point("LN-1", makers.a_tank(site=other), due_on=DAY + ONE_DAY)
    reminders.scan(at=MORNING + ONE_DAY)
    digest.refresh_from_db()
    assert digest.left_out == ""
    assert not Digest.objects.get(site=other).lines.filter(point__site=digest.site).exists()


def test_a_mail_that_may_have_left_is_repeated_under_its_own_number(digest):
    outbox.claim_waiting(at=MORNING)  # and its worker was heard of no more
    makers.a_point("LT-2", due_on=DAY + ONE_DAY)
    reminders.scan(at=MORNING + ONE_DAY)
    assert send_at(MORNING + ONE_DAY) == 2
    numbers = {message.message()["Message-ID"] for message in mail.outbox}
    assert digest.message_id in numbers


def test_without_a_mail_of_today_yesterday_s_goes_out_by_itself(digest):
    reminders.scan(at=MORNING + ONE_DAY)
    assert send_at(MORNING + ONE_DAY) == 1
    digest.refresh_from_db()
    assert (digest.left_out, digest.sent_at) == ("", MORNING + ONE_DAY)


def test_a_mail_of_yesterday_is_not_held_with_a_storm_of_today(digest):
    for n in range(51):
        makers.a_point(f"LX-{n}", due_on=DAY + ONE_DAY)
    reminders.scan(at=MORNING + ONE_DAY)
    assert ReminderScan.objects.get(day=DAY + ONE_DAY).held
    assert send_at(MORNING + ONE_DAY) == 1
    digest.refresh_from_db()
    assert digest.sent_at == MORNING + ONE_DAY


def test_a_held_mail_joins_none(digest):
    ReminderScan.objects.update(held=True)
    makers.a_point("LT-2", due_on=DAY + ONE_DAY)
    reminders.scan(at=MORNING + ONE_DAY)
    digest.refresh_from_db()
    assert digest.left_out == ""


# ---- the words ----
def test_what_is_due_on_the_day_is_not_overdue_yet(digest):
    rows = list(digest.lines.select_related("point"))
    assert digest_mail(digest, rows, on=DAY).subject == "Marram Point: 1 due soon"
    late = digest_mail(digest, rows, on=DAY + ONE_DAY)
    assert late.subject == "Marram Point: 1 overdue"
    assert "1 day over" in late.body


def test_a_mail_names_its_reader_and_says_that_a_machine_wrote_it(digest):
    message = digest_mail(digest, [], on=DAY)
    assert message.to == ['"A. Marrowby" <amarrowby@marram.example>']
    assert message.extra_headers["Auto-Submitted"] == "auto-generated"
    digest.site.name = "x" * 300
    assert len(digest_mail(digest, [], on=DAY).subject) == 200
