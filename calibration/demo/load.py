"""Loads the files of fixtures/demo into an empty Spanbook: places and people, the tables through
the importer, the stories as acts. What makes those files is fixtures/demo/generator.

Nothing is written past the rules: but for the very first site and its administrator, whom nobody
could have entered, everything goes the way a person's own work goes.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from calibration.demo.files import FOLDER, shifted, weeks_to
from calibration.demo.playing import Play
from calibration.fleet import acts as fleet
from calibration.importing import kinds as imports
from calibration.procedures import acts as procedures
from plant.importing import acts as batches
from plant.importing.models import ImportBatch
from plant.ledger.writer import enter
from plant.people import acts as people
from plant.people.models import Appointment, Person
from plant.people.roles import Role
from plant.refusals import Refused
from plant.sites import acts as sites_acts
from plant.sites.models import Site

KINDS = ("products", "tanks", "register", "standards", "calibrations")
PASSWORD = "tank-by-tank-2026"  # noqa: S105 - meant to be known
"""Of everybody in the demo; shown by ``manage.py welcome`` and good for nothing else."""
YEARS_BEFORE = 8
Say = Callable[[str], None]


class CannotLoad(Exception):
    """A file of the demo was refused: which, and what was wrong with its first rows."""


class Demo:
    """The files of a folder, moved so that they end on the last Monday on or before ``as_of``."""

    def __init__(self, as_of: dt.date, folder: Path = FOLDER) -> None:
        self.folder = folder
        written_for = dt.date.fromisoformat(json.loads(self._raw("stories.json"))["as_of"])
        self.weeks = weeks_to(as_of, written_for=written_for)
        self.day = written_for + dt.timedelta(weeks=self.weeks)
        self.began_on = self.day - dt.timedelta(days=366 * YEARS_BEFORE)

    def _raw(self, name: str) -> str:
        return (self.folder / name).read_text(encoding="utf-8")

    def text(self, name: str) -> str:
        return shifted(self._raw(name), weeks=self.weeks)

    def rows(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.text(name))))

    def site_codes(self) -> list[str]:
        return [row["code"] for row in self.rows("sites.csv")]

    def at(self, site: Site, hour: int = 7) -> dt.datetime:
        return dt.datetime.combine(self.day, dt.time(hour), tzinfo=site.zone)


def is_loaded(demo: Demo) -> bool:
    return Site.objects.filter(code__in=demo.site_codes()).exists()


def load(demo: Demo, *, say: Say = lambda line: None) -> None:
    """All of the demo. It is not one transaction: each file and each act is its own, as on any
    day.
    """
    procedures.publish_missing(on=demo.began_on)
    sites = _places(demo)
    _people(demo, sites)
    say(f"{len(sites)} sites and their people")
    planners = {code: _planner(site) for code, site in sites.items()}
    play = Play(demo.rows("played.csv"), sites, today=demo.day)
    stories = json.loads(demo.text("stories.json"))
    for kind in KINDS:
        if kind == "calibrations":
            play.acts(stories["swaps"])
        for code, site in sites.items():
            batch = _import(demo, site, kind, by=planners[code])
            say(f"{site}: {batch.rows_new} rows of {batch.get_kind_display()}")
    play.acts(stories["acts"])
    say(f"{len(stories['swaps']) + len(stories['acts'])} acts of the stories")
    done = fleet.run(clock=timezone.now, nightly=True)
    if done:
        say(
            f"{done.done} drifts, {done.steps} jumps to explain, {done.proposals} intervals "
            "proposed"
        )


# ---- places and people ----
def _places(demo: Demo) -> dict[str, Site]:
    rows = demo.rows("sites.csv")
    made = [
        Site(code=r["code"], name=r["name"], time_zone=r["time zone"], crew_hours=r["crew hours"])
        for r in rows
    ]
    first, *others = made
    administrator = _first_administrator(demo, first)
    for site in others:
        sites_acts.add_site(site, by=administrator, on=demo.began_on)
    return {site.code: Site.objects.get(pk=site.pk) for site in made}


@transaction.atomic
def _first_administrator(demo: Demo, site: Site) -> Person:
    """Nobody is there yet to add the first site and the first person, so Spanbook itself does."""
    row = next(r for r in demo.rows("people.csv") if r["role"] == Role.ADMINISTRATOR)
    site.full_clean()
    site.save()
    person = Person(username=row["user name"], name=row["name"], email=_mail(row["user name"]))
    person.set_password(PASSWORD)
    person.full_clean()
    person.save()
    Appointment.objects.create(
        person=person, site=site, role=Role.ADMINISTRATOR, starts_on=demo.began_on
    )
    enter("add site", on=site, by=None, details={"administrator": person.name})
    return person


def _people(demo: Demo, sites: dict[str, Site]) -> None:
    rows = demo.rows("people.csv")
    administrator = Person.objects.get(
        username=next(r["user name"] for r in rows if r["role"] == "administrator")
    )
    for row in rows:
        if row["user name"] == administrator.username:
            continue
        home, *others = [sites[code] for code in row["sites"].split()]
        person = Person(username=row["user name"], name=row["name"], email=_mail(row["user name"]))
        people.add(
            person,
            password=PASSWORD,
            site=home,
            role=row["role"],
            on=demo.began_on,
            by=administrator,
        )
        for site in others:
            people.appoint(
                person, site=site, role=row["role"], starts_on=demo.began_on, by=administrator
            )


def _mail(username: str) -> str:
    return f"{username}@spanbook.example"


def _planner(site: Site) -> Person:
    return Person.objects.get(appointments__site=site, appointments__role=Role.PLANNER)


# ---- the files ----
def _import(demo: Demo, site: Site, kind: str, *, by: Person) -> ImportBatch:
    """Received, checked and applied, as from the page."""
    name, at = f"{site.code}_{kind}.csv", demo.at(site)
    content = demo.text(name).encode()
    batch = batches.receive([content], file_name=name, kind=kind, site=site, by=by, at=at)
    batch = imports.run_now(batch, at=at)
    _refuse_unless(batch, ImportBatch.ImportState.CHECKED)
    try:
        batch = imports.run_now(batches.ask_to_apply(batch, by=by), at=at)
    except Refused as refusal:
        raise CannotLoad(f"{name}: {refusal}") from refusal
    _refuse_unless(batch, ImportBatch.ImportState.APPLIED)
    return batch


def _refuse_unless(batch: ImportBatch, state: str) -> None:
    if batch.state != state:
        problems = "; ".join(str(problem) for problem in batch.problems.all()[:5])
        raise CannotLoad(f"{batch.file_name} is {batch.get_state_display()}: {problems}")
