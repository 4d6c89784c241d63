"""One row of every table with a rule of its own, and statements that break rules by a copy."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from decimal import Decimal

from django.apps import apps
from django.db import connection

from calibration.deferrals.models import Deferral
from calibration.drift.models import JumpQuestion
from calibration.findings.models import Finding
from calibration.intervals.models import Proposal
from calibration.jobs.models import Job
from calibration.policies.models import Policy
from calibration.procedures.models import ProcedureStep, ProcedureVersion, SiteWording
from calibration.records.models import Adjustment, Calibration, StepTaken
from calibration.reminders.models import Digest, Reminder, ReminderScan
from calibration.rounds.models import Round
from calibration.status.models import ReasonClosing
from calibration.tablet.models import FieldPhoto, FieldWork
from plant.importing.models import ImportBatch
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.product_changes.models import ProductChange
from plant.sites.models import Site
from plant.tanks.models import StrappingRow, Tank
from tests.makers import (
    NOON,
    TODAY,
    a_certificate,
    a_person,
    a_point,
    a_procedure,
    a_product,
    a_record,
    a_site,
    a_standard,
    a_tank,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
)

TOMORROW = TODAY + dt.timedelta(days=1)
TABLES = {model._meta.db_table: model for model in apps.get_models()}


def copy_of(table: str, *, where: str = "true", **changes: str) -> str:
    """A statement that copies the first row where ``where`` holds; ``changes``: SQL by column."""
    fields = TABLES[table]._meta.local_concrete_fields
    columns = [f.column for f in fields if not f.generated and not f.primary_key]
    values = ", ".join(changes.get(column, f'"{column}"') for column in columns)
    names = ", ".join(f'"{column}"' for column in columns)
    first = f"FROM {table} WHERE {where} ORDER BY {table}.id LIMIT 1"
    return f"INSERT INTO {table} ({names}) SELECT {values} {first}"


def elsewhere(table: str) -> str:
    """SQL for the key of a row of the other site."""
    site = "(SELECT id FROM plant_site WHERE code = 'N')"
    return f"(SELECT min(id) FROM {table} WHERE site_id = {site})"


def truncations(*tables: str) -> dict[str, str]:
    """Of each table the trigger that refuses to empty it, which is off in tests (conftest.py)."""
    return {
        f"{table}_no_truncate": (
            f"ALTER TABLE {table} ENABLE TRIGGER {table}_no_truncate; TRUNCATE {table} CASCADE"
        )
        for table in tables
    }


def make_rows() -> None:
    """The rows to break are at one site; another has what a row must not point at."""
    _execute("SET CONSTRAINTS ALL IMMEDIATE")
    planner = a_person("amarrowby", "planner")
    technician = a_person("tquillane", "technician")
    approver = a_person("sfenharrow", "approver")
    point = an_equipped_point("LT-101A")
    _register(point)
    approved = an_approved_record(point, by=technician, approved_by=approver)
    _closing(approved)
    earlier_transaction(approved)
    submitted = a_record(
        an_equipped_point("LT-101B"), by=technician, found=[1.5] * 9, left=[0.1] * 9
    )
    _parts_of(submitted)
    _amendment_of(approved)
    _around_the_point(point, approved, technician, planner)
    _tablet(submitted, technician)
    _procedures(point.site)
    _rounds(point.site, technician, planner)
    _other_site(technician, planner)
    _execute("SET CONSTRAINTS ALL DEFERRED")


def earlier_transaction(record: Calibration) -> None:
    """As if the record had come in before this transaction, so that its parts come late."""
    alter = "ALTER TABLE calibration_calibration {} TRIGGER record_stays_as_sent"
    _execute(alter.format("DISABLE"))
    _execute(f"UPDATE calibration_calibration SET entered_in = 1 WHERE id = {record.pk}")
    _execute(alter.format("ENABLE"))


def _execute(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def _register(point: MeasuringPoint) -> None:
    StrappingRow.objects.create(tank=point.tank, height=1, volume_m3=10)
    _product_change(point.tank)
    ImportBatch.objects.create(
        site=point.site,
        kind="register",
        file_name="points.csv",
        stored_as="1.csv",
        sha256="0" * 64,
        size=1,
        uploaded_by=Person.objects.first(),
        uploaded_at=NOON,
    )
    a_transmitter("SPARE")


def _product_change(tank: Tank) -> ProductChange:
    return ProductChange.objects.create(
        site=tank.site, tank=tank, on=TODAY, product=tank.product, celsius=Decimal(40)
    )


def _parts_of(record: Calibration) -> None:
    Adjustment.objects.get(record=record)
    StepTaken.objects.create(
        record=record, number=1, kind="read", text="As found.", done_at=NOON, by_name="T. Quillane"
    )
    a_certificate(a_standard("MM-02"))
    a_certificate(a_standard("MM-03"), dt.date(2019, 1, 1), dt.date(2020, 1, 1))


def _closing(record: Calibration) -> None:
    ReasonClosing.objects.create(
        site=record.site, point=record.point, kind="failed", of=record.pk, why="compared by dip",
        closed_by=Person.objects.first(), closed_at=NOON,
    )  # fmt: skip


def _amendment_of(record: Calibration) -> None:
    amendment = Calibration.objects.get(pk=record.pk)
    amendment.pk, amendment.submission, amendment.job = None, uuid.uuid4(), None
    amendment.amends, amendment.amend_reason = record, "wrong standard named"
    amendment.state, amendment.approved_by, amendment.approved_at = "submitted", None, None
    amendment.approved_by_name = ""
    amendment.save(force_insert=True)


def _around_the_point(
    point: MeasuringPoint, record: Calibration, technician: Person, planner: Person
) -> None:
    site, of_point = point.site, {"site": point.site, "point": point}
    Deferral.objects.create(
        **of_point,
        due_on=TODAY,
        until=TOMORROW,
        reason="tank full",
        asked_by=planner,
        asked_at=NOON,
    )
    Finding.objects.create(**of_point, record=record, opened_at=NOON, doubtful_until=TODAY)
    Policy.objects.create(site=site, duty="process")
    Proposal.objects.create(**of_point, made_at=NOON, method="drift", months_now=12, months=18)
    JumpQuestion.objects.create(
        **of_point,
        record=record,
        end="zero",
        size_percent=1,
        chance=0.01,
        kind="step",
        raised_at=NOON,
    )
    ReminderScan.objects.create(site=site, day=TODAY, at=NOON)
    digest = Digest.objects.create(
        site=site, person=planner, day=TODAY, message_id="<1@marram.example>", made_at=NOON
    )
    Reminder.objects.create(**of_point, due_on=TODAY, rung=0, person=planner, digest=digest)


def _tablet(record: Calibration, technician: Person) -> None:
    """One work signed and not here yet, one set aside with a photo."""
    facts = {"site": record.site, "job": record.job, "person": technician, "signed_at": NOON}
    FieldWork.objects.create(**facts, submission=uuid.uuid4(), content_sha256="0" * 64)
    work = FieldWork.objects.create(
        **facts,
        submission=uuid.uuid4(),
        content="{}",
        content_sha256=hashlib.sha256(b"{}").hexdigest(),
        received_at=NOON,
        state="set aside",
        troubles=[{"what": "register", "said": "The range was changed."}],
    )
    FieldPhoto.objects.create(
        work=work,
        sha256="1" * 64,
        step=1,
        received_at=NOON,
        stored_as="1.jpg",
        stored_sha256="2" * 64,
        size=1,
    )


def _procedures(site: Site) -> None:
    """A draft beside the published version that the records follow, and a wording of the site."""
    procedure = a_procedure().procedure
    draft = ProcedureVersion.objects.create(
        procedure=procedure, number=2, way="wetted level by dip", percents=[0, 100]
    )
    ProcedureStep.objects.create(version=draft, number=1, kind="caution", text="Draft step.")
    SiteWording.objects.create(
        site=site, procedure=procedure, step_key="A1", devices="R4", text="Hold the left key."
    )


def _rounds(site: Site, technician: Person, planner: Person) -> Round:
    made = Round.objects.create(
        site=site,
        name="Quay park, week 46",
        starts_on=TODAY,
        ends_on=TODAY,
        technician=technician,
        planned_by=planner,
        planned_at=NOON,
    )
    Job.objects.create(
        site=site,
        point=a_point("LT-101C", tank=Tank.objects.get(site=site)),
        due_on=TODAY,
        round=made,
        stop_number=1,
    )
    return made


def _other_site(technician: Person, planner: Person) -> None:
    site = a_site("N", "Neelghat", "Asia/Kolkata")
    tank = a_tank("T-301", site=site, product=a_product(site, "brine"))
    a_transmitter(site=site)
    _product_change(tank)
    _rounds(site, technician, planner)
