"""``manage.py reminders``: a day's reminders by hand."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.utils import timezone

from calibration.reminders.models import Digest, ReminderScan
from tests import makers


def run(*words: str) -> str:
    out = io.StringIO()
    call_command("reminders", *words, stdout=out)
    return out.getvalue()


@pytest.fixture
def today(planner, site) -> dt.date:
    today = site.day_of(timezone.now())
    makers.a_point(due_on=today)
    return today


def test_show_tells_what_would_go_out_and_stores_nothing(today):
    said = run()
    assert "to A. Marrowby <amarrowby@marram.example>: would go out" in said
    assert "LT-101A" in said
    assert not Digest.objects.exists()
    assert not mail.outbox


def test_show_can_look_at_another_day(today):
    assert "0 digest(s)" in run("--day", str(today - dt.timedelta(40)))
    assert "7 days over" in run("--day", str(today + dt.timedelta(7)), "--site", "M")


def test_send_writes_and_sends_once(today):
    assert "1 line(s) written; 1 mail(s) sent" in run("--send")
    assert len(mail.outbox) == 1
    assert "written before; 0 mail(s) sent" in run("--send")
    assert "sent" in run("--show")
    assert ReminderScan.objects.count() == 1


def test_only_today_can_be_sent(today):
    with pytest.raises(CommandError, match="is not today"):
        run("--send", "--day", str(today + dt.timedelta(1)))
    assert not Digest.objects.exists()


def test_an_unknown_site_or_day_is_told(today):
    with pytest.raises(CommandError, match="Sites: M"):
        run("--site", "X")
    with pytest.raises(CommandError, match="write it as"):
        run("--day", "tomorrow")
