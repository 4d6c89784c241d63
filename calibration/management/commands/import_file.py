"""Imports a file from the command line: the same steps, checks and ledger entry as on the page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from calibration.importing.kinds import IMPORTERS, run_now
from plant.importing import acts as imports
from plant.importing.models import ImportBatch
from plant.people.models import Person
from plant.refusals import Refused
from plant.sites.models import Site

PIECE = 1024 * 1024
MOST_PRINTED = 200


class Command(BaseCommand):
    help = "Check a CSV or XLSX file and bring it in, whole or not at all. Every bad row is listed."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=sorted(IMPORTERS), help="what the file holds")
        parser.add_argument("file", type=Path)
        parser.add_argument("--site", required=True, help="short code of the site")
        parser.add_argument(
            "--by", required=True, help="user name of the planner responsible for it"
        )
        parser.add_argument("--why", default="", help="needed where rows change what is stored")
        parser.add_argument(
            "--check-only", action="store_true", help="check and report; write no row"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        site, by = _site(options["site"]), _person(options["by"])
        try:
            batch = self._check(options["kind"], options["file"], site, by)
            if not options["check_only"]:
                imports.ask_to_apply(batch, why=options["why"], by=by)
                batch = self._run(batch)
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        counts = f"{batch.rows_new} new, {batch.rows_changed} changed, {batch.rows_same} the same"
        done = "checked, nothing written" if options["check_only"] else "applied"
        self.stdout.write(f"{batch.file_name}: {batch.rows_read} row(s), {counts}; {done}.")

    def _check(self, kind: str, file: Path, site: Site, by: Person) -> ImportBatch:
        if not file.is_file():
            raise CommandError(f"{file} is no file.")
        now = timezone.now()
        batch = imports.receive(
            _pieces(file), file_name=file.name, kind=kind, site=site, by=by, at=now
        )
        batch = self._run(batch)
        for note in batch.report.get("notes", ()):
            self.stdout.write(f"Note: {note}")
        for row, column, value, reason in batch.report.get("warnings", ()):
            self.stdout.write(f"Look at row {row}, {column} “{value}”: {reason}")
        return batch

    def _run(self, batch: ImportBatch) -> ImportBatch:
        batch = run_now(batch, at=timezone.now())
        if batch.state == ImportBatch.ImportState.REFUSED:
            self._tell_problems(batch)
        return batch

    def _tell_problems(self, batch: ImportBatch) -> None:
        for problem in batch.problems.all()[:MOST_PRINTED]:
            where = f"row {problem.row}, {problem.column}" if problem.row else problem.column
            self.stderr.write(f"{where}: “{problem.value}” {problem.reason}")
        more = batch.problems_found - MOST_PRINTED
        if more > 0:
            self.stderr.write(f"... and {more} more; see /imports/{batch.pk}/")
        raise CommandError(
            f"{batch.file_name} is refused: {batch.problems_found} problem(s). Nothing was written."
        )


def _pieces(file: Path) -> Iterator[bytes]:
    with file.open("rb") as source:
        while piece := source.read(PIECE):
            yield piece


def _site(code: str) -> Site:
    site = Site.objects.filter(code__iexact=code).first()
    if site is None:
        known = ", ".join(Site.objects.values_list("code", flat=True)) or "none yet"
        raise CommandError(f"No site has the code “{code}”. Sites: {known}.")
    return site


def _person(username: str) -> Person:
    person = Person.objects.filter(username=username).first()
    if person is None:
        raise CommandError(f"Nobody has the user name “{username}”.")
    return person
