"""The outbox: one digest a person, sent at least once, whatever is killed when."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from calibration.reminders import acts as reminders
from calibration.reminders import outbox
from calibration.reminders.models import Digest, ReminderScan
from plant.points.models import MeasuringPoint
from tests import makers
from tests.calibration.reminders.mornings import DAY, MORNING, due_in, on, send_at


def test_one_digest_a_person_with_tags_due_dates_and_links_and_no_reading(
    planner, technician, approver
):
    point = makers.an_equipped_point("LT-7", due_on=DAY)
    makers.an_approved_record(point, by=technician, approved_by=approver, found=[0.7777] * 9)
    due_in(-3, "LT-8")
    point = MeasuringPoint.objects.get(pk=point.pk)
    reminders.scan(at=on(point.due_on - dt.timedelta(7)))
    assert send_at(on(point.due_on - dt.timedelta(7))) == 2  # the approver hears of LT-8
    sent = next(m for m in mail.outbox if planner.email in m.to[0])
    assert "LT-7" in sent.body
    assert f"/points/{point.pk}/" in sent.body
    assert "0.77" not in sent.body
    assert "1 overdue, 1 due soon" in sent.subject


def test_what_is_solved_before_sending_is_left_out(planner):
    solved, waits = due_in(0, "LT-1"), due_in(0, "LT-2")
    reminders.scan(at=MORNING)
    MeasuringPoint.objects.filter(pk=solved.pk).update(due_on=DAY + dt.timedelta(365))
    send_at(MORNING)
    assert waits.tag in mail.outbox[0].body
    assert "LT-1 " not in mail.outbox[0].body


def test_a_digest_with_nothing_left_is_not_sent(planner):
    point = due_in(0)
    reminders.scan(at=MORNING)
    MeasuringPoint.objects.filter(pk=point.pk).update(due_on=DAY + dt.timedelta(365))
    assert send_at(MORNING) == 0
    assert Digest.objects.get().left_out == outbox.NOTHING_LEFT


def test_who_lost_the_role_meanwhile_gets_no_mail(planner, auditor):
    due_in(0)
    reminders.scan(at=MORNING)
    planner.appointments.update(ends_on=DAY - dt.timedelta(1))
    assert send_at(MORNING) == 0
    assert Digest.objects.get().left_out == outbox.NO_LONGER_HERE


def test_whoever_serves_another_site_only_gets_no_mail_of_this_one(planner):
    due_in(0)
    reminders.scan(at=MORNING)
    planner.appointments.update(site=makers.a_site("N", "Neelghat"))
    assert send_at(MORNING) == 0
    assert Digest.objects.get().left_out == outbox.NO_LONGER_HERE


class Killed(BaseException):
    """Stands for kill -9: nothing after it runs."""


def test_a_kill_between_hand_over_and_commit_repeats_the_same_message_id(planner, monkeypatch):
    due_in(0)
    reminders.scan(at=MORNING)
    send_messages = EmailBackend.send_messages

    def send_and_die(self, messages):
        send_messages(self, messages)
        raise Killed

    monkeypatch.setattr(EmailBackend, "send_messages", send_and_die)
    with pytest.raises(Killed):
        send_at(MORNING)
    monkeypatch.setattr(EmailBackend, "send_messages", send_messages)
    assert send_at(MORNING + dt.timedelta(minutes=4)) == 0  # the dead worker's lease still runs
    assert send_at(MORNING + dt.timedelta(minutes=6)) == 1
    first, second = mail.outbox
    assert first.message()["Message-ID"] == second.message()["Message-ID"]
    assert send_at(MORNING + dt.timedelta(minutes=20)) == 0


def test_one_dead_address_holds_up_nobody(planner, technician, monkeypatch):
    second = makers.a_person("second", "planner", name="A second planner")
    due_in(0)
    reminders.scan(at=MORNING)
    send_messages = EmailBackend.send_messages

    def refuse_one(self, messages):
        if planner.email in messages[0].to[0]:
            raise OSError("550 no such mailbox")
        return send_messages(self, messages)

    monkeypatch.setattr(EmailBackend, "send_messages", refuse_one)
    assert send_at(MORNING) == 1
    assert second.email in mail.outbox[0].to[0]
    failed = Digest.objects.get(person=planner)
    assert (failed.tries, failed.sent_at) == (1, None)
    assert "550 no such mailbox" in failed.last_error
    assert send_at(MORNING + dt.timedelta(minutes=1)) == 0
    monkeypatch.setattr(EmailBackend, "send_messages", send_messages)
    assert send_at(MORNING + dt.timedelta(minutes=3)) == 1


def test_two_workers_never_hold_the_same_digest(planner):
    due_in(0)
    reminders.scan(at=MORNING)
    assert len(outbox.claim_waiting(at=MORNING)) == 1
    assert outbox.claim_waiting(at=MORNING + dt.timedelta(minutes=1)) == []


def test_an_outcome_noted_after_the_lease_ran_out_counts_for_nothing(planner):
    due_in(0)
    reminders.scan(at=MORNING)
    slow = outbox.claim_waiting(at=MORNING)
    assert len(outbox.claim_waiting(at=MORNING + dt.timedelta(minutes=6))) == 1
    assert outbox.deliver_all(slow, clock=lambda: MORNING) == 0


def test_at_most_sixty_mails_leave_in_a_minute(planner):
    for n in range(70):
        makers.a_person(f"planner{n}", "planner")
    due_in(0)
    reminders.scan(at=MORNING)
    ReminderScan.objects.update(held=False)
    assert send_at(MORNING) == 60
    assert send_at(MORNING + dt.timedelta(seconds=30)) == 0
    assert send_at(MORNING + dt.timedelta(seconds=61)) == 11


def test_after_three_days_without_mail_one_digest_tells_all(planner, monkeypatch):
    due_in(0, "LT-1")
    due_in(1, "LT-2")
    due_in(2, "LT-3")

    def down(self, messages):
        raise ConnectionRefusedError("no mail server")

    monkeypatch.setattr(EmailBackend, "send_messages", down)
    for days in range(3):
        reminders.scan(at=on(DAY + dt.timedelta(days)))
        send_at(on(DAY + dt.timedelta(days)))
    assert Digest.objects.stuck(at=on(DAY + dt.timedelta(2), 7)).exists()
    monkeypatch.undo()
    assert send_at(on(DAY + dt.timedelta(2), 12)) == 1
    assert all(mail.outbox[0].body.count(tag) == 1 for tag in ("LT-1", "LT-2", "LT-3"))


def test_a_name_with_line_breaks_writes_no_mail_header(planner):
    planner.name = "A. Marrowby\r\nBcc: everyone@elsewhere.example"
    planner.save()
    due_in(0)
    reminders.scan(at=MORNING)
    assert send_at(MORNING) == 1
    assert "Bcc" not in mail.outbox[0].message()
