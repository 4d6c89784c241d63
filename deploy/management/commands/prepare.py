"""Brings database and static files up to this version; safe to run again. Needs the owner's
DATABASE_URL.
"""

from __future__ import annotations

import hashlib
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import transaction

from deploy.grants import grant


class Command(BaseCommand):
    help = (
        "Migrate, set the rights of the role that serves pages, and collect static files. "
        "Run it with DATABASE_URL of the role that owns the database."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--app-role", default="", help="the role web and worker sign in with")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        if options["app_role"]:
            with transaction.atomic():
                grant(options["app_role"])
        call_command(
            "build_chart_bundle", stdout=self.stdout if options["verbosity"] > 1 else _Quiet()
        )
        collect_static()


class _Quiet:
    def write(self, said: str) -> None: ...


def collect_static() -> None:
    """Collect when a file has changed since the last time; compressing takes seconds."""
    stamp = settings.STATIC_ROOT / ".collected"
    now = state_of_static_files()
    if not stamp.exists() or stamp.read_text() != now:
        call_command("collectstatic", interactive=False, verbosity=0)
        stamp.write_text(now)


def state_of_static_files() -> str:
    digest = hashlib.sha256(settings.STORAGES["staticfiles"]["BACKEND"].encode())
    for finder in finders.get_finders():
        for path, storage in finder.list([]):
            with storage.open(path) as file:
                digest.update(repr((path, hashlib.sha256(file.read()).digest())).encode())
    return digest.hexdigest()
