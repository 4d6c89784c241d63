"""Installations to the day: removed and installed again on one day, late entries, what is kept."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed
from plant.transmitters import acts as installing
from plant.transmitters.models import Installation, Transmitter
from plant.transmitters.refusals import (
    ChangedInstallation,
    InstalledElsewhere,
    InstalledLater,
    LateReasonMissing,
)
from tests.makers import LONG_AGO, TODAY, a_point, a_transmitter, an_installation
from tests.races import outcomes

pytestmark = pytest.mark.django_db

DAY = dt.timedelta(1)
YESTERDAY = TODAY - DAY


def install(point, transmitter, *, by, on: dt.date = TODAY, **more) -> Installation:
    return installing.install(point, transmitter=transmitter, on=on, today=TODAY, by=by, **more)


def remove(point, *, by, on: dt.date = TODAY, goes: str = "spare", **more) -> Installation:
    seen = point.installations.get(removed_on=None).pk
    return installing.remove(point, seen=seen, goes=goes, on=on, today=TODAY, by=by, **more)


# ---- one day ----
def test_on_the_day_of_its_removal_another_may_be_installed_and_it_may_go_elsewhere(planner):
    here, there = a_point("LT-1"), a_point("LT-2")
    old = an_installation(here).transmitter
    remove(here, by=planner)
    new = install(here, a_transmitter("S-NEW"), by=planner)
    assert (new.installed_on, new.removed_on) == (TODAY, None)
    assert install(there, old, by=planner).transmitter == old


def test_the_day_before_a_removal_nothing_fits_in(planner, approver):
    here, there = a_point("LT-1"), a_point("LT-2")
    old = an_installation(here)
    remove(here, by=planner)
    with pytest.raises(InstalledLater):
        install(here, a_transmitter("S-NEW"), by=approver, on=YESTERDAY)
    with pytest.raises(InstalledElsewhere):
        install(there, old.transmitter, by=approver, on=YESTERDAY)
    assert Installation.objects.count() == 1


def test_what_ended_before_stands_in_nobody_s_way(approver):
    here = a_point("LT-1")
    device = a_transmitter("S1")
    an_installation(here, device, LONG_AGO, YESTERDAY)
    assert install(here, device, by=approver, on=YESTERDAY).installed_on == YESTERDAY


def test_a_transmitter_may_leave_the_day_after_it_came(planner):
    here = a_point()
    an_installation(here, installed_on=YESTERDAY)
    assert remove(here, by=planner).removed_on == TODAY


# ---- what is kept ----
@pytest.mark.parametrize("goes", ["spare", "in repair", "scrapped"])
def test_a_removal_says_where_the_transmitter_goes(planner, goes):
    here = a_point()
    device = an_installation(here, a_transmitter("S1")).transmitter
    remove(here, by=planner, goes=goes, why="leaks")
    device.refresh_from_db()
    assert device.status == goes
    entry = LedgerEntry.objects.get(act="remove")
    assert (entry.why, entry.subject) == ("leaks", "LT-101A")
    assert entry.details == {
        "day": TODAY.isoformat(),
        "removed": "Tarn & Weir R4 S1",
        "now": goes,
    }


def test_a_late_entry_says_when_it_was_entered_and_a_note_stays_with_it(planner):
    new = install(
        a_point(), a_transmitter("S1"), by=planner, on=YESTERDAY, why="told today", note="nozzle B"
    )
    new.refresh_from_db()
    assert (new.note, new.installed_on) == ("nozzle B", YESTERDAY)
    assert LedgerEntry.objects.get(act="install").details == {
        "day": YESTERDAY.isoformat(),
        "entered on": TODAY.isoformat(),
        "installed": "Tarn & Weir R4 S1",
    }


def test_an_installation_of_today_needs_no_reason_and_one_of_yesterday_does(planner):
    assert install(a_point("LT-1"), a_transmitter(), by=planner).pk
    with pytest.raises(LateReasonMissing):
        install(a_point("LT-2"), a_transmitter(), by=planner, on=YESTERDAY, why=" ")


def test_an_approver_enters_past_days_only(approver, planner):
    here = a_point()
    old = an_installation(here)
    with pytest.raises(NotAllowed):
        remove(here, by=approver)
    assert remove(here, by=approver, on=YESTERDAY).pk == old.pk


def test_who_may_enter_installations_at_all(site, planner, approver, technician, outsider):
    may = [
        installing.may_enter_installations(person, site.pk)
        for person in (planner, approver, technician, outsider)
    ]
    assert may == [True, True, False, False]


# ---- at once ----
def test_a_removal_of_what_is_not_there_is_refused(planner):
    here = a_point()
    facts = {"goes": "spare", "on": TODAY, "today": TODAY, "by": planner}
    with pytest.raises(ChangedInstallation):
        installing.remove(here, seen=None, **facts)


@pytest.mark.django_db(transaction=True)
def test_one_transmitter_is_installed_at_one_of_two_points_at_once(planner):
    for n in range(3):
        device = a_transmitter(f"S{n}")
        here, there = a_point(f"LT-{n}A"), a_point(f"LT-{n}B")
        outcome = outcomes(
            lambda p=here, d=device: install(p, d, by=planner),
            lambda p=there, d=device: install(p, d, by=planner),
        )
        assert outcome.count("done") == 1
        assert Installation.objects.filter(transmitter=device).count() == 1
        assert Transmitter.objects.get(pk=device.pk).status == "in service"


@pytest.mark.django_db(transaction=True)
def test_one_of_two_transmitters_is_installed_at_a_point_at_once(planner):
    for n in range(3):
        here = a_point(f"LT-{n}")
        first, second = a_transmitter(f"S{n}A"), a_transmitter(f"S{n}B")
        outcome = outcomes(
            lambda d=first, p=here: install(p, d, by=planner),
            lambda d=second, p=here: install(p, d, by=planner),
        )
        assert outcome.count("done") == 1
        assert here.installations.count() == 1
        assert Transmitter.objects.filter(serial__startswith=f"S{n}", status="spare").count() == 1
