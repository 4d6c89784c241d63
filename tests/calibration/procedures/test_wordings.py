"""A site's own wording: added, changed, dropped; which transmitters it is for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calibration.procedures import wording_acts as wordings
from calibration.procedures.models import SiteWording
from calibration.procedures.refusals import UnknownStep
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, Refused
from plant.saving import Stale, mark_of
from plant.transmitters.models import Transmitter
from tests.makers import a_procedure, a_site

CASES = json.loads((Path(__file__).parent / "wording_cases.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", CASES, ids=[case["why"] for case in CASES])
def test_a_wording_stands_beside_the_step_for_its_devices_only(case):
    hung = case["transmitter"]
    transmitter = Transmitter(**hung) if hung else None
    assert SiteWording(devices=case["devices"]).fits(transmitter) is case["fits"]


@pytest.fixture
def wording(approver):
    row = SiteWording(
        procedure=a_procedure().procedure,
        site=approver.appointments.get().site,
        step_key="T5",
        devices="Tarn & Weir",
        text="Hold the button for 3 s.",
    )
    return wordings.add(row, by=approver)


def mark(row: SiteWording) -> str:
    return mark_of(row, wordings.FIELDS)


@pytest.mark.django_db
def test_a_change_is_stored_and_told(wording, approver):
    seen = mark(wording)
    wording.text, wording.devices = "Hold it for 5 s.", "Tarn & Weir, , R4,"
    wordings.change(wording, seen=seen, by=approver)
    stored = SiteWording.objects.get()
    # An empty name would fit every device.
    assert (stored.text, stored.devices) == ("Hold it for 5 s.", "Tarn & Weir, R4")
    entry = LedgerEntry.objects.get(act="change wording")
    assert entry.details["wording"] == ["Hold the button for 3 s.", "Hold it for 5 s."]


@pytest.mark.django_db
def test_the_second_of_two_who_change_it_is_told(wording, approver):
    seen = mark(wording)
    wording.text = "Hold it for 5 s."
    wordings.change(wording, seen=seen, by=approver)
    wording.text = "Hold it for 9 s."
    with pytest.raises(Stale):
        wordings.change(wording, seen=seen, by=approver)
    assert SiteWording.objects.get().text == "Hold it for 5 s."


@pytest.mark.django_db
def test_a_change_to_an_unknown_step_or_onto_another_wording_is_refused(wording, approver):
    other = SiteWording(
        procedure=wording.procedure, site=wording.site, step_key="T6", text="Wait 60 s."
    )
    wordings.add(other, by=approver)
    seen = mark(other)
    other.step_key = "X9"
    with pytest.raises(UnknownStep) as refusal:
        wordings.change(other, seen=seen, by=approver)
    assert refusal.value.step_key == "X9"
    other.step_key, other.devices = wording.step_key, wording.devices
    with pytest.raises(Refused, match="already has a wording for those devices"):
        wordings.change(other, seen=seen, by=approver)
    assert not LedgerEntry.objects.filter(act="change wording").exists()


@pytest.mark.django_db
def test_only_an_approver_of_its_site_changes_it(wording, planner, technician, outsider):
    for person in (planner, technician, outsider):
        with pytest.raises(NotAllowed):
            wordings.change(wording, seen=mark(wording), by=person)


@pytest.mark.django_db
def test_a_job_gets_the_wordings_of_its_own_site(wording, approver):
    elsewhere = a_site("N", "Neelghat")
    SiteWording.objects.create(
        procedure=wording.procedure, site=elsewhere, step_key="T5", text="Ask the shift."
    )
    hung = Transmitter(maker="Tarn & Weir", model="R4")
    beside = SiteWording.objects.beside(
        wording.procedure, site_id=wording.site_id, transmitter=hung
    )
    assert beside == {"T5": [wording]}
    other = Transmitter(maker="Heron", model="H2")
    assert (
        SiteWording.objects.beside(wording.procedure, site_id=wording.site_id, transmitter=other)
        == {}
    )
