"""Loads the demo into an empty Spanbook; where its sites are there already, it does nothing."""

from __future__ import annotations

import datetime as dt
import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from calibration.demo.load import CannotLoad, Demo, is_loaded, load


class Command(BaseCommand):
    help = "Load the demo: three invented sites, 120 measuring points, six years of calibrations."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--as-of",
            type=dt.date.fromisoformat,
            default=None,
            metavar="DATE",
            help="the demo's last day is the Monday on or before it; default: today",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(
                "This is a production site: people whose password everybody can read do not "
                "belong in it."
            )
        demo = Demo(options["as_of"] or timezone.now().date())
        if is_loaded(demo):
            self.stdout.write("The demo is there already; nothing was changed.")
            return
        began = time.monotonic()
        say = self.stdout.write if options["verbosity"] > 1 else lambda line: None
        try:
            load(demo, say=say)
        except CannotLoad as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(
            f"The demo is loaded as of {demo.day:%A} {demo.day} ({time.monotonic() - began:.0f} s)."
        )
