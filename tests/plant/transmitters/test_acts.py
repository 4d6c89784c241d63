"""Installations: each refusal, the ledger, and two people at once."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.refusals import DayToCome, NotAllowed, OfAnotherSite
from plant.saving import mark_of
from plant.transmitters import acts as installing
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Installation, Transmitter
from plant.transmitters.refusals import (
    ChangedInstallation,
    DestinationMissing,
    InstalledElsewhere,
    InstalledLater,
    InstalledTransmitter,
    LateReasonMissing,
    OccupiedPoint,
    RemovalTooEarly,
    UnfitTransmitter,
    UninstalledTransmitter,
)
from tests.makers import TODAY, a_person, a_point, a_site, a_tank, a_transmitter, an_installation
from tests.races import outcomes

pytestmark = pytest.mark.django_db

YESTERDAY = TODAY - dt.timedelta(1)
TOMORROW = TODAY + dt.timedelta(1)


def entry() -> LedgerEntry:
    return LedgerEntry.objects.get()


def test_install_puts_a_spare_in_service_and_enters_the_ledger(planner):
    point, spare = a_point(), a_transmitter("S1")
    installing.install(point, transmitter=spare, on=TODAY, today=TODAY, by=planner)
    spare.refresh_from_db()
    assert spare.status == "in service"
    assert entry().act == "install"
    assert entry().subject == point.tag
    assert entry().details == {"day": TODAY.isoformat(), "installed": "Tarn & Weir R4 S1"}


def test_swap_removes_one_and_installs_the_other_on_the_same_day(planner):
    point = a_point()
    old = an_installation(point)
    new = a_transmitter("S2")
    installing.swap(
        point, transmitter=new, seen=old.pk, goes="in repair", on=TODAY, today=TODAY, by=planner
    )
    old.refresh_from_db()
    old.transmitter.refresh_from_db()
    assert (old.removed_on, old.transmitter.status) == (TODAY, "in repair")
    assert point.installations.get(removed_on=None).transmitter == new
    assert entry().details["removed one is now"] == "in repair"


def test_remove_leaves_the_place_empty(planner):
    point = a_point()
    old = an_installation(point)
    installing.remove(point, seen=old.pk, goes="scrapped", on=TODAY, today=TODAY, by=planner)
    assert not point.installations.filter(removed_on=None).exists()
    assert Transmitter.objects.get().status == "scrapped"


def test_nothing_is_removed_on_a_day_to_come(planner):
    point = a_point()
    old = an_installation(point)
    with pytest.raises(DayToCome):
        installing.remove(point, seen=old.pk, goes="spare", on=TOMORROW, today=TODAY, by=planner)


def test_nothing_is_swapped_on_a_day_to_come(planner):
    point, spare = a_point(), a_transmitter("S2")
    old = an_installation(point)
    with pytest.raises(DayToCome):
        installing.swap(
            point, transmitter=spare, seen=old.pk, goes="spare", on=TOMORROW, today=TODAY, by=planner
        )  # fmt: skip


def test_changed_data_of_a_transmitter_are_stored(planner):
    device = a_transmitter("S1")
    seen = mark_of(device, TRANSMITTER.fields)
    device.model, device.probe_length_mm = "R5", Decimal(2400)
    installing.change_transmitter(device, seen=seen, by=planner)
    stored = Transmitter.objects.get()
    assert (stored.model, stored.probe_length_mm) == ("R5", Decimal(2400))


@pytest.mark.parametrize("status", ["in repair", "scrapped"])
def test_a_transmitter_that_is_not_fit_is_refused(planner, status):
    broken = a_transmitter("S1", status=status)
    with pytest.raises(UnfitTransmitter) as refusal:
        installing.install(a_point(), transmitter=broken, on=TODAY, today=TODAY, by=planner)
    assert (refusal.value.transmitter, refusal.value.status) == (broken, status)
    assert refusal.value.field == "transmitter"


def test_a_transmitter_installed_elsewhere_is_refused_and_named_with_its_place(planner):
    tank = a_tank()
    here, there = a_point("LT-1", tank), a_point("LT-2", tank)
    busy = an_installation(there).transmitter
    with pytest.raises(InstalledElsewhere) as refusal:
        installing.install(here, transmitter=busy, on=TODAY, today=TODAY, by=planner)
    assert refusal.value.tag == "LT-2"
    assert "has been installed at LT-2 since 1 Jan 2020." in str(refusal.value)


def test_an_occupied_place_is_refused(planner):
    point = a_point()
    an_installation(point)
    with pytest.raises(OccupiedPoint, match="Swap it, or remove it first"):
        installing.install(point, transmitter=a_transmitter(), on=TODAY, today=TODAY, by=planner)


def test_a_day_on_which_another_was_installed_is_refused(planner):
    point = a_point()
    an_installation(point, removed_on=YESTERDAY)
    late = YESTERDAY - dt.timedelta(1)
    with pytest.raises(InstalledLater) as refusal:
        installing.install(
            point, transmitter=a_transmitter(), on=late, today=TODAY, by=planner, why="told late"
        )
    assert refusal.value.other.removed_on == YESTERDAY
    assert refusal.value.field == "on"


def test_a_day_still_to_come_is_refused(planner):
    with pytest.raises(DayToCome):
        installing.install(
            a_point(), transmitter=a_transmitter(), on=TOMORROW, today=TODAY, by=planner
        )


def test_a_removal_on_the_day_of_installation_is_refused(planner):
    point = a_point()
    old = an_installation(point, installed_on=TODAY)
    with pytest.raises(RemovalTooEarly) as refusal:
        installing.remove(point, seen=old.pk, goes="spare", on=TODAY, today=TODAY, by=planner)
    assert refusal.value.installed_on == TODAY


def test_a_past_day_needs_a_reason_from_a_planner(planner):
    with pytest.raises(LateReasonMissing) as refusal:
        installing.install(
            a_point(), transmitter=a_transmitter(), on=YESTERDAY, today=TODAY, by=planner
        )
    assert refusal.value.field == "why"
    assert not LedgerEntry.objects.exists()


def test_a_past_day_needs_none_from_an_approver(approver):
    installing.install(
        a_point(), transmitter=a_transmitter(), on=YESTERDAY, today=TODAY, by=approver
    )
    assert entry().details["entered on"] == TODAY.isoformat()


def test_an_approver_does_not_install_today(approver):
    with pytest.raises(NotAllowed):
        installing.install(
            a_point(), transmitter=a_transmitter(), on=TODAY, today=TODAY, by=approver
        )


@pytest.mark.parametrize("who", ["technician", "auditor", "administrator", "outsider"])
def test_the_others_may_not_install(who, request):
    with pytest.raises(NotAllowed):
        installing.install(
            a_point(),
            transmitter=a_transmitter(),
            on=TODAY,
            today=TODAY,
            by=request.getfixturevalue(who),
        )


def test_a_transmitter_of_another_site_is_refused(planner):
    foreign = a_transmitter("S1", site=a_site("N", "Neelghat", "Asia/Kolkata"))
    with pytest.raises(OfAnotherSite):
        installing.install(a_point(), transmitter=foreign, on=TODAY, today=TODAY, by=planner)


def test_a_swap_of_what_is_no_longer_installed_is_refused(planner):
    point = a_point()
    first = an_installation(point)
    installing.swap(
        point,
        transmitter=a_transmitter("S2"),
        seen=first.pk,
        goes="spare",
        on=YESTERDAY,
        today=YESTERDAY,
        by=planner,
    )
    with pytest.raises(ChangedInstallation) as refusal:
        installing.swap(
            point,
            transmitter=a_transmitter("S3"),
            seen=first.pk,
            goes="spare",
            on=TODAY,
            today=TODAY,
            by=planner,
        )
    assert (refusal.value.tag, refusal.value.present.serial) == ("LT-101A", "S2")


def test_status_cannot_contradict_the_installation(planner):
    installed = an_installation(a_point()).transmitter
    Transmitter.objects.filter(pk=installed.pk).update(status="in service")
    installed.refresh_from_db()
    seen = mark_of(installed, TRANSMITTER.fields)
    installed.status = "spare"
    with pytest.raises(InstalledTransmitter) as refusal:
        installing.change_transmitter(installed, seen=seen, by=planner)
    assert (refusal.value.tag, refusal.value.field) == ("LT-101A", "status")


def test_a_spare_cannot_be_said_to_be_in_service(planner):
    spare = a_transmitter(status="spare")
    seen = mark_of(spare, TRANSMITTER.fields)
    spare.status = "in service"
    with pytest.raises(UninstalledTransmitter):
        installing.change_transmitter(spare, seen=seen, by=planner)


def test_a_removed_transmitter_goes_somewhere(planner):
    old = an_installation(a_point())
    with pytest.raises(DestinationMissing):
        installing.remove(old.point, seen=old.pk, goes="", on=TODAY, today=TODAY, by=planner)


def test_the_database_itself_refuses_two_transmitters_at_one_point():
    point = a_point()
    an_installation(point, removed_on=TODAY)
    with (
        pytest.raises(IntegrityError, match="one_installation_per_point_at_a_time"),
        transaction.atomic(),
    ):
        Installation.objects.create(
            site=point.site,
            point=point,
            transmitter=a_transmitter(),
            installed_on=YESTERDAY,
            removed_on=TOMORROW,
        )


@pytest.mark.django_db(transaction=True)
def test_of_two_swaps_at_once_one_wins_and_the_other_is_refused():
    planner = a_person("amarrowby", "planner")
    point = a_point()
    old = an_installation(point)
    spares = [a_transmitter("S2"), a_transmitter("S3")]

    def swap(spare: Transmitter):
        return installing.swap(
            MeasuringPoint.objects.get(pk=point.pk),
            transmitter=spare,
            seen=old.pk,
            goes="spare",
            on=TODAY,
            today=TODAY,
            by=planner,
        )

    refusal, done = outcomes(*[lambda spare=spare: swap(spare) for spare in spares])
    assert done == "done"
    assert "Somebody else has changed the installation at LT-101A" in refusal
    assert point.installations.filter(removed_on=None).count() == 1
    assert LedgerEntry.objects.count() == 1
