"""Every act leaves one entry in the ledger: under its name, by whom, why, and with what changed."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from types import SimpleNamespace

import pytest

from calibration.approval import acts as approval
from calibration.records import acts as records
from calibration.rounds import acts as rounds
from calibration.standards import acts as standards
from calibration.standards.models import ReferenceStandard
from plant.importing import acts as importing
from plant.ledger.models import LedgerEntry
from plant.people import acts as people
from plant.people.models import Person
from plant.points import acts as points
from plant.products import acts as products
from plant.products.columns import PRODUCT
from plant.saving import mark_of
from plant.sites import acts as sites
from plant.sites.models import Site
from plant.tanks import acts as tanks
from plant.transmitters import acts as transmitters
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Transmitter
from tests.makers import (
    NOON,
    TODAY,
    a_person,
    a_record,
    a_round,
    a_sent_record,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
    an_unsaved_point,
    an_unsaved_tank,
)

pytestmark = pytest.mark.django_db

PASSWORD = "nine green herons"
YESTERDAY = TODAY - dt.timedelta(1)


@pytest.fixture
def world(site, planner, technician, approver, administrator) -> SimpleNamespace:
    point = an_equipped_point()
    return SimpleNamespace(
        site=site,
        point=point,
        tank=point.tank,
        planner=planner,
        technician=technician,
        approver=approver,
        administrator=administrator,
    )


def changed(row, fields, **values) -> str:
    """The mark of the row as it is; then the values are put onto it, as a form does."""
    mark = mark_of(row, fields)
    for name, value in values.items():
        setattr(row, name, value)
    return mark


def change_tank(w) -> None:
    mark = tanks.mark_of_tank(w.tank)
    w.tank.height = Decimal(13)
    tanks.change_tank(w.tank, area_name="Quay park", seen=mark, by=w.planner)


def change_transmitter(w) -> None:
    row = a_transmitter("S1", model="R5")
    mark = changed(row, TRANSMITTER.fields, model="R6")
    transmitters.change_transmitter(row, seen=mark, by=w.planner)


def swap(w) -> None:
    old = w.point.installations.get()
    Transmitter.objects.filter(pk=old.transmitter_id).update(serial="S-OLD")
    transmitters.swap(
        w.point,
        transmitter=a_transmitter("S-NEW"),
        seen=old.pk,
        goes="in repair",
        on=YESTERDAY,
        today=TODAY,
        why="late",
        by=w.planner,
    )


def amend(w) -> None:
    record = an_approved_record(w.point, by=w.technician, approved_by=w.approver)
    records.amend(
        record,
        a_sent_record(found=[0.2] * 9),
        reason="slip",
        submission=uuid.uuid4(),
        by=w.planner,
        at=NOON,
    )


def close(w) -> None:
    people.close(w.technician, why="left", on=TODAY, by=w.administrator)


def reopen(w) -> None:
    Person.objects.filter(pk=w.technician.pk).update(is_active=False)
    people.reopen(w.technician, why="back", by=w.administrator)


def withdraw_import(w) -> None:
    batch = importing.receive(
        [b"tag\n"], file_name="a.csv", kind="register", site=w.site, by=w.planner, at=NOON
    )
    importing.withdraw(batch, by=w.planner)


def planned_round(w):
    return a_round([w.point], technician=w.technician, by=w.planner)


def end_appointment(w) -> None:
    given = w.technician.appointments.get()
    people.end_appointment(given, on=TODAY, why="moved", by=w.administrator)


# By the name of the act: what is done, by whom, the reason, and some of the details.
ACTS = {
    "add site": (
        lambda w: sites.add_site(
            Site(code="B", name="Brackholm", time_zone="Europe/Oslo"), by=w.administrator, on=TODAY
        ),
        "administrator",
        "",
        {"time zone": "Europe/Oslo", "administrator": "E. Thornquay"},
    ),
    "change site": (
        lambda w: sites.change_site(
            w.site, fields=["name"], seen=changed(w.site, ["name"], name="Marram"),
            by=w.administrator,
        ),
        "administrator",
        "",
        {"name": ["Marram Point", "Marram"]},
    ),
    "rename area": (
        lambda w: sites.rename_area(
            w.tank.area, seen=changed(w.tank.area, ["name"], name="Quay"), by=w.planner
        ),
        "planner",
        "",
        {"name": ["Quay park", "Quay"]},
    ),
    "add tank": (
        lambda w: tanks.add_tank(an_unsaved_tank(site=w.site), area_name="Quay park", by=w.planner),
        "planner",
        "",
        {"area": "Quay park", "shape": "vertical cylinder", "capacity, m³": 9.425},
    ),
    "change tank": (change_tank, "planner", "", {"straight height or length": ["12", "13"]}),
    "change product": (
        lambda w: products.change(
            w.tank.product, seen=changed(w.tank.product, PRODUCT.fields, density=901), by=w.planner
        ),
        "planner",
        "",
        {"density, kg/m³": ["900", "901"]},
    ),
    "register point": (
        lambda w: points.add(an_unsaved_point(tank=w.tank), by=w.planner),
        "planner",
        "",
        {"tank": "T-101", "range": "0 to 10 m", "due": TODAY.isoformat()},
    ),
    "add transmitter": (
        lambda w: transmitters.add_transmitter(
            Transmitter(site=w.site, maker="Tarn & Weir", serial="S9", principle="radar",
                        wiring="2-wire"),
            by=w.planner,
        ),
        "planner",
        "",
        {"principle": "radar"},
    ),
    "change transmitter": (change_transmitter, "planner", "", {"model": ["R5", "R6"]}),
    "swap": (
        swap,
        "planner",
        "late",
        {
            "day": YESTERDAY.isoformat(),
            "entered on": TODAY.isoformat(),
            "removed": "Tarn & Weir R4 S-OLD",
            "installed": "Tarn & Weir R4 S-NEW",
            "removed one is now": "in repair",
        },
    ),
    "change person": (
        lambda w: people.change(
            w.technician,
            seen=changed(w.technician, people.PERSON_FIELDS, name="T. Moss"),
            by=w.administrator,
        ),
        "administrator",
        "",
        {"name": ["T. Quillane", "T. Moss"]},
    ),
    "set password": (
        lambda w: people.set_password(w.technician, password=PASSWORD, on=TODAY, by=w.administrator),
        "administrator",
        "",
        {},
    ),
    "close person": (close, "administrator", "left", {}),
    "reopen person": (reopen, "administrator", "back", {}),
    "end appointment": (
        end_appointment,
        "administrator",
        "moved",
        {"role": "technician", "last day": YESTERDAY.isoformat()},
    ),
    "add standard": (
        lambda w: standards.add(
            ReferenceStandard(site=w.site, name="MM-9", kind="multimeter"), by=w.technician
        ),
        "technician",
        "",
        {},
    ),
    "add stops": (
        lambda w: rounds.add(planned_round(w), [an_equipped_point("LT-2")], by=w.planner),
        "planner",
        "",
        {"stops": ["LT-2"], "days": "2026-11-02 to 2026-11-06", "technician": "T. Quillane"},
    ),
    "take out stop": (
        lambda w: rounds.remove(planned_round(w).stops.get(), by=w.planner),
        "planner",
        "",
        {"tag": "LT-101A", "job is": "cancelled"},
    ),
    "amend record": (
        amend,
        "planner",
        "slip",
        {"tag": "LT-101A", "done on": TODAY.isoformat(), "as found": "pass", "as left": "pass",
         "adjusted": False},
    ),
    "return record": (
        lambda w: approval.send_back(
            a_record(w.point, by=w.technician), reason="blurred", by=w.approver, at=NOON
        ),
        "approver",
        "blurred",
        {"tag": "LT-101A", "as found": "pass"},
    ),
    "withdraw import": (withdraw_import, "planner", "", {}),
}  # fmt: skip


@pytest.mark.parametrize("act", ACTS)
def test_an_act_leaves_one_entry_in_the_ledger(act, world, uploads):
    do, who, why, details = ACTS[act]
    do(world)
    entry = LedgerEntry.objects.get(act=act)
    assert (entry.person, entry.why) == (getattr(world, who), why)
    assert {name: entry.details.get(name) for name in details} == details
    assert PASSWORD not in str(entry.details)


def test_a_new_password_of_a_person_is_theirs_at_once(world):
    people.set_password(world.technician, password=PASSWORD, on=TODAY, by=world.administrator)
    assert Person.objects.get(pk=world.technician.pk).check_password(PASSWORD)


def test_what_was_typed_is_what_is_stored(world):
    """The row behind the entry: a change that enters the ledger and stores nothing is no change."""
    for act in ("change site", "change tank", "rename area", "change product", "change person"):
        ACTS[act][0](world)
    world.site.refresh_from_db()
    world.technician.refresh_from_db()
    tank = type(world.tank).objects.select_related("area", "product").get(pk=world.tank.pk)
    assert (world.site.name, world.technician.name) == ("Marram", "T. Moss")
    assert (tank.height, tank.area.name, tank.product.density) == (13, "Quay", 901)


def test_a_closed_person_is_closed_and_a_reopened_one_open(world):
    close(world)
    world.technician.refresh_from_db()
    assert not world.technician.is_active
    reopen(world)
    world.technician.refresh_from_db()
    assert world.technician.is_active


def test_an_entry_stands_at_the_site_it_is_about(world, outsider):
    both = a_person("both", "planner", site=outsider.appointments.first().site)
    both.appointments.create(site=world.site, role="planner", starts_on=YESTERDAY)
    tank = an_unsaved_tank(site=world.site)
    tanks.add_tank(tank, area_name="Quay park", by=both)
    assert LedgerEntry.objects.get(act="add tank").site == world.site
