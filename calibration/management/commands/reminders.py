"""One day's reminders by hand: show what would go out, or write and send it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from calibration.reminders import acts as reminders
from calibration.reminders import outbox
from calibration.reminders.models import Digest
from plant.sites.models import Site


class Command(BaseCommand):
    help = "Show the reminders that go out on a day (nothing is stored), or write and send today's."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", help="short code of one site; all of them without it")
        parser.add_argument("--day", type=_day, help="YYYY-MM-DD; today at each site without it")
        act = parser.add_mutually_exclusive_group()
        act.add_argument("--show", action="store_true", help="show only (the default)")
        act.add_argument("--send", action="store_true", help="write today's and send what waits")

    def handle(self, *args: Any, **options: Any) -> None:
        sites = Site.objects.filter(code=options["site"]) if options["site"] else Site.objects.all()
        if not sites:
            known = ", ".join(Site.objects.values_list("code", flat=True)) or "none yet"
            raise CommandError(f"No site has the code {options['site']!r}. Sites: {known}.")
        act = self._send if options["send"] else self._show
        for site in sites:
            act(site, options["day"])

    def _show(self, site: Site, day: dt.date | None) -> None:
        day = day or site.day_of(timezone.now())
        morning = dt.datetime.combine(day, site.digest_at, tzinfo=site.zone)
        mails = reminders.preview(site, day=day, at=morning)
        self.stdout.write(f"{site}, {day}: {len(mails)} digest(s)")
        for digest, mail in mails:
            self.stdout.write(
                f"\n--- to {digest.person} <{digest.person.email}>: {_outcome(digest)}"
            )
            self.stdout.write(f"{mail.subject}\n\n{mail.body}")

    def _send(self, site: Site, day: dt.date | None) -> None:
        now = timezone.now()
        today = site.day_of(now)
        if day not in (None, today):
            raise CommandError(
                f"{day} is not today at {site} ({today}); only today's reminders can be sent. "
                f"Use --show to see another day's."
            )
        lines = reminders.scan_site(site, day=today, at=now)
        written = "written before" if lines is None else f"{lines} line(s) written"
        left = outbox.send_waiting(clock=timezone.now)
        self.stdout.write(f"{site}, {today}: {written}; {left} mail(s) sent")


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"--day {text!r} is no date; write it as 2026-11-25.") from error


def _outcome(digest: Digest) -> str:
    if digest.sent_at:
        return f"sent {digest.sent_at:%Y-%m-%d %H:%M} UTC"
    return digest.left_out or "would go out"
