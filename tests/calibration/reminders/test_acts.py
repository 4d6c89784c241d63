"""Reminders: the ladder, who is reminded, once only, and an outbox that survives what is killed
when.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.db import IntegrityError

from calibration.deferrals import acts as deferrals
from calibration.jobs import acts as jobs
from calibration.reminders import acts as reminders
from calibration.reminders import lines
from calibration.reminders.models import Digest, Reminder, ReminderScan
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed
from tests import makers
from tests.calibration.reminders.mornings import DAY, LISBON, MORNING, due_in, on, send_at
from tests.races import at_once


def rungs() -> list[int]:
    return list(Reminder.objects.order_by("rung").values_list("rung", flat=True))


# ---- the ladder ----
LADDER = {-31: None, -30: -30, -8: -30, -7: -7, -1: -7, 0: 0, 6: 0, 7: 7, 13: 7, 14: 14, 20: 14}


@pytest.mark.parametrize(("days_after", "rung"), LADDER.items())
def test_the_latest_rung_passed_is_written(planner, days_after, rung):
    due_in(-days_after)
    reminders.scan(at=MORNING)
    assert rungs() == ([] if rung is None else [rung])


def test_a_point_brings_reminders_30_and_7_days_before_on_the_day_and_weekly(planner):
    due_in(31)
    for days in range(31 + 22):
        reminders.scan(at=on(DAY + dt.timedelta(days)))
    assert rungs() == [-30, -7, 0, 7, 14, 21]


def test_after_ten_days_of_downtime_one_line_catches_up(planner):
    due_in(8)
    reminders.scan(at=MORNING)
    assert rungs() == [-30]
    reminders.scan(at=on(DAY + dt.timedelta(17)))  # passed meanwhile: −7, 0 and 7
    assert rungs() == [-30, 7]
    assert send_at(on(DAY + dt.timedelta(17))) == 1
    assert mail.outbox[0].body.count("LT-101A") == 1


def test_a_moved_due_date_starts_its_own_ladder(planner):
    point = due_in(0)
    reminders.scan(at=MORNING)
    MeasuringPoint.objects.filter(pk=point.pk).update(due_on=DAY + dt.timedelta(8))
    reminders.scan(at=on(DAY + dt.timedelta(1)))
    assert sorted(Reminder.objects.values_list("due_on", "rung")) == [
        (DAY, 0),
        (DAY + dt.timedelta(8), -7),
    ]


def test_a_deferred_point_follows_its_deferred_date(planner, technician, approver):
    point = due_in(-1)
    asked = deferrals.ask(
        point, until=DAY + dt.timedelta(20), reason="No full tank.", by=technician, at=MORNING
    )
    deferrals.decide(asked, granted=True, by=approver, at=MORNING)
    reminders.scan(at=MORNING)
    line = Reminder.objects.get(person=planner)
    assert (line.due_on, line.rung) == (DAY + dt.timedelta(20), -30)


def test_a_point_out_of_service_is_left_out(planner):
    due_in(0, out_of_service_on=DAY, out_of_service_why="tank opened")
    assert reminders.scan(at=MORNING) == 0


# ---- who gets a reminder ----
def test_planners_the_technician_of_the_open_job_and_from_14_days_approvers(
    planner, technician, second_technician, approver, auditor, outsider
):
    jobs.plan(due_in(-13), technician=technician, by=planner)
    reminders.scan(at=MORNING)
    assert set(Reminder.objects.values_list("person", flat=True)) == {planner.pk, technician.pk}
    reminders.scan(at=on(DAY + dt.timedelta(1)))
    assert set(Reminder.objects.filter(rung=14).values_list("person", flat=True)) == {
        planner.pk,
        technician.pk,
        approver.pk,
    }


def test_approvers_are_reminded_from_the_rung_of_14_days_not_of_13(planner, approver):
    assert lines.APPROVER_FROM == 14  # between two rungs no other number would show
    due_in(-14)
    due_in(-13, tag="LT-102A")
    reminders.scan(at=MORNING)
    assert list(Reminder.objects.filter(person=approver).values_list("rung", flat=True)) == [14]


def test_a_planner_who_is_the_technician_too_is_reminded_once(planner):
    both = makers.a_person("bothroles", "planner", "technician", name="B. Both")
    jobs.plan(due_in(0), technician=both, by=planner)
    reminders.scan(at=MORNING)
    assert Reminder.objects.filter(person=both).count() == 1
    assert Digest.objects.filter(person=both).count() == 1


def test_a_technician_who_left_the_site_is_not_reminded(planner, technician):
    jobs.plan(due_in(0), technician=technician, by=planner)
    technician.appointments.update(ends_on=DAY - dt.timedelta(1))
    reminders.scan(at=MORNING)
    assert not Reminder.objects.filter(person=technician).exists()


def test_who_wants_no_mail_has_the_list_on_the_page_only(planner):
    planner.wants_mail = False
    planner.save()
    due_in(0)
    reminders.scan(at=MORNING)
    assert send_at(MORNING) == 0
    digest = Digest.objects.get(person=planner)
    assert digest.left_out == lines.NO_MAIL_WANTED
    assert digest.lines.count() == 1


# ---- once, whatever runs when ----
def test_a_second_scan_writes_nothing(planner):
    due_in(0)
    assert reminders.scan(at=MORNING) == 1
    assert reminders.scan(at=on(DAY, 7)) == 0
    assert reminders.scan_site(planner.appointments.get().site, day=DAY, at=MORNING) is None
    assert LedgerEntry.objects.filter(act="write reminders").count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_scans_at_once_write_each_line_once(planner):
    for number in range(40):
        due_in(number % 30, f"LT-{number}")
    assert sorted(at_once(*[lambda: reminders.scan(at=MORNING)] * 4)) == [0, 0, 0, 40]
    assert Reminder.objects.count() == 40
    assert Digest.objects.count() == 1


def test_the_database_holds_a_reminder_once(planner):
    due_in(0)
    reminders.scan(at=MORNING)
    line = Reminder.objects.get()
    line.pk = None
    with pytest.raises(IntegrityError, match="a_reminder_is_made_once"):
        line.save(force_insert=True)


# ---- the site's own morning ----
@pytest.mark.parametrize(
    ("code", "zone"), [("N", "Asia/Kolkata"), ("W", "Europe/Warsaw"), ("L", "Europe/Lisbon")]
)
def test_reminders_are_written_at_six_on_the_sites_own_clock(db, code, zone):
    site = makers.a_site(code, f"Site {code}", zone)
    makers.a_person(f"planner-{code}", "planner", site=site)
    makers.a_point(tank=makers.a_tank(site=site), due_on=DAY)
    six = dt.datetime.combine(DAY, dt.time(6), tzinfo=ZoneInfo(zone)).astimezone(dt.UTC)
    assert reminders.scan(at=six - dt.timedelta(seconds=1)) == 0
    assert reminders.scan(at=six) == 1
    assert Digest.objects.get().day == DAY


def test_three_sites_wake_one_after_the_other(db):
    for code, zone in (("N", "Asia/Kolkata"), ("W", "Europe/Warsaw"), ("L", "Europe/Lisbon")):
        makers.a_site(code, f"Site {code}", zone)
    # 00:30 in Kolkata of the 3rd; in Warsaw and Lisbon the 2nd still runs.
    at = dt.datetime(2026, 11, 2, 19, 0, tzinfo=dt.UTC)
    awake = {site.code: day for site, day in reminders.sites_awake(at=at)}
    assert awake == {"W": DAY, "L": DAY}
    awake = {
        site.code: day
        for site, day in reminders.sites_awake(at=at + dt.timedelta(hours=5, minutes=30))
    }
    assert awake == {"N": DAY + dt.timedelta(1)}


def test_what_fails_at_one_site_stops_no_other(planner, monkeypatch):
    elsewhere = makers.a_site("A", "Aldwater", "Europe/Lisbon")
    makers.a_point("LT-1", makers.a_tank("T-1", site=elsewhere), due_on=DAY)
    makers.a_point(due_on=DAY)
    write = reminders.write_lines

    def failing(cursor, site, **more):
        if site == elsewhere:
            raise ArithmeticError("a day out of time")
        return write(cursor, site, **more)

    monkeypatch.setattr(reminders, "write_lines", failing)
    with pytest.raises(ExceptionGroup) as fault:
        reminders.scan(at=MORNING)
    assert [str(each) for each in fault.value.exceptions] == ["a day out of time"]
    assert "Aldwater" in fault.value.exceptions[0].__notes__[0]
    assert list(ReminderScan.objects.values_list("site__name", flat=True)) == ["Marram Point"]


@pytest.mark.parametrize("change", [dt.date(2026, 3, 29), dt.date(2026, 10, 25)])
def test_the_days_the_clocks_change_have_one_digest_each(planner, change):
    makers.a_point(due_on=change)
    start = dt.datetime.combine(change, dt.time(0), tzinfo=LISBON).astimezone(dt.UTC)
    made = [reminders.scan(at=start + dt.timedelta(minutes=20 * n)) for n in range(75)]
    day_of_change = ReminderScan.objects.filter(day=change)
    assert day_of_change.count() == 1
    assert day_of_change.get().at.astimezone(LISBON).time() == dt.time(6)
    assert sum(made) == 1


def test_an_hour_that_does_not_exist_still_has_its_digest(db):
    # Lisbon's clock goes from 00:59 to 02:00 on that night: 01:30 never comes.
    makers.a_site(digest_at=dt.time(1, 30))
    before = dt.datetime(2026, 3, 29, 0, 59, tzinfo=dt.UTC)
    assert [day for _, day in reminders.sites_awake(at=before)] == []
    after = dt.datetime(2026, 3, 29, 1, 0, tzinfo=dt.UTC)
    assert [day for _, day in reminders.sites_awake(at=after)] == [dt.date(2026, 3, 29)]


def test_the_last_days_of_a_month_each_have_their_rung(planner):
    makers.a_point(due_on=dt.date(2027, 3, 1))
    first_days = {}
    for n in range(32):
        day = dt.date(2027, 1, 29) + dt.timedelta(n)
        reminders.scan(at=on(day))
        send_at(on(day))
        for line in Reminder.objects.filter(digest__day=day):
            first_days[line.rung] = day
    assert first_days == {
        -30: dt.date(2027, 1, 30),
        -7: dt.date(2027, 2, 22),
        0: dt.date(2027, 3, 1),
    }


# ---- the storm brake ----
def a_storm(planner) -> ReminderScan:
    point = due_in(-3)
    MeasuringPoint.objects.bulk_create(
        MeasuringPoint(
            site=point.site,
            tank=point.tank,
            tag=f"LX-{n}",
            tag_key=f"lx-{n:05d}",
            lower=Decimal(0),
            upper=Decimal(8),
            tolerance=1,
            adjust_limit=1,
            due_on=DAY,
        )
        for n in range(60)
    )
    reminders.scan(at=MORNING)
    return ReminderScan.objects.get()


def test_a_storm_is_held_until_a_planner_releases_it(planner, technician):
    scanned = a_storm(planner)
    assert (scanned.lines, scanned.held) == (61, True)
    assert send_at(MORNING) == 0
    with pytest.raises(NotAllowed):
        reminders.release(scanned, by=technician, at=MORNING)
    reminders.release(scanned, by=planner, at=MORNING)
    assert send_at(MORNING) == 1
    assert LedgerEntry.objects.get(act="release reminders").person == planner
    with pytest.raises(reminders.NotHeld):
        reminders.release(scanned, by=planner, at=MORNING)


def test_a_site_that_always_has_many_lines_is_not_held(planner):
    site = makers.a_site()
    for n in range(1, 11):
        ReminderScan.objects.create(
            site=site, day=DAY - dt.timedelta(n), at=MORNING - dt.timedelta(n), lines=25
        )
    assert a_storm_of(site) is False


def a_storm_of(site) -> bool:
    for n in range(60):
        due_in(0, f"LY-{n}")
    reminders.scan_site(site, day=DAY, at=MORNING)
    return ReminderScan.objects.get(site=site, day=DAY).held


# ---- by hand ----
def test_a_preview_shows_what_would_go_out_and_stores_nothing(planner):
    due_in(0)
    [(_digest, shown)] = reminders.preview(makers.a_site(), day=DAY, at=MORNING)
    assert "LT-101A" in shown.body
    assert not Digest.objects.exists()
    assert not ReminderScan.objects.exists()
    assert not mail.outbox
