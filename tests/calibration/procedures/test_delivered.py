"""The procedures that come with Spanbook: published, followed, and never put over what a person
wrote.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from calibration.procedures import acts, delivered
from calibration.procedures.acts import publish, revise
from calibration.procedures.models import Procedure
from calibration.procedures.refusals import (
    EditedHere,
    NewerVersion,
    NothingMissing,
    SameAsDelivered,
)
from calibration.procedures.version_change import compare
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed
from tests.makers import TODAY

pytestmark = pytest.mark.django_db


def text_of(key: str):
    return next(each for each in delivered.delivered() if each.key == key)


@pytest.fixture
def aged():
    """Published by an older release: the same procedure without what its steps ask for."""
    text = text_of("cap-tank")
    row = Procedure.objects.create(key=text.key, name=text.name, principles=text.principles)
    bare = [replace(step, asks=(), stop="") for step in text.content.steps]
    publish(row, replace(text.content, steps=bare), reason=delivered.FIRST_REASON, on=TODAY)
    return row


def test_those_that_are_missing_are_published_with_one_entry(approver, aged):
    before = delivered.compare_all()
    assert len(before.missing) == 13
    new = acts.publish_delivered(by=approver, on=TODAY)
    assert len(new) == 13
    assert delivered.compare_all().missing == []
    assert aged.versions.count() == 1
    entry = LedgerEntry.objects.get(act="take in delivered procedures")
    assert entry.person == approver
    assert sorted(entry.details["procedures"]) == sorted(each.key for each in before.missing)


def test_a_second_time_there_is_nothing_to_publish(approver):
    acts.publish_delivered(by=approver, on=TODAY)
    with pytest.raises(NothingMissing):
        acts.publish_delivered(by=approver, on=TODAY)
    assert LedgerEntry.objects.filter(act="take in delivered procedures").count() == 1


def test_what_is_stored_is_what_is_delivered():
    acts.publish_missing(on=TODAY)
    for row in Procedure.objects.all():
        assert not compare(row.versions.get().content, text_of(row.key).content), row.key
    assert delivered.compare_all() == delivered.Comparison([], [], [])


def test_an_older_text_that_nobody_edited_is_followed_as_the_next_version(approver, aged):
    (row,) = delivered.compare_all().older
    assert "steps changed" in str(row.change)
    version = acts.follow_delivered(aged, based_on=1, by=approver, on=TODAY)
    assert (version.number, version.reason) == (2, delivered.NEXT_REASON)
    assert not compare(version.content, text_of("cap-tank").content)
    entry = LedgerEntry.objects.get(act="publish procedure")
    assert (entry.subject_id, entry.details["version"]) == (aged.pk, 2)
    assert delivered.compare_all().older == []
    with pytest.raises(SameAsDelivered):
        acts.follow_delivered(aged, based_on=2, by=approver, on=TODAY)


def test_what_a_person_edited_stays(approver, aged):
    content = aged.versions.get().content
    slower = replace(content, settle_seconds=600)
    revise(aged, slower, based_on=1, reason="slow product", by=approver, on=TODAY)
    compared = delivered.compare_all()
    assert (compared.older, [row.procedure for row in compared.edited]) == ([], [aged])
    with pytest.raises(EditedHere) as refusal:
        acts.follow_delivered(aged, based_on=2, by=approver, on=TODAY)
    assert refusal.value.version.number == 2
    assert aged.versions.count() == 2


def test_a_person_who_saw_another_version_is_refused(approver, aged):
    with pytest.raises(NewerVersion) as refusal:
        acts.follow_delivered(aged, based_on=0, by=approver, on=TODAY)
    assert (refusal.value.latest, refusal.value.based_on) == (1, 0)
    assert aged.versions.count() == 1


def test_only_an_approver_publishes_or_follows(planner, technician, aged):
    for person in (planner, technician):
        with pytest.raises(NotAllowed):
            acts.publish_delivered(by=person, on=TODAY)
        with pytest.raises(NotAllowed):
            acts.follow_delivered(aged, based_on=1, by=person, on=TODAY)
    assert Procedure.objects.count() == 1


def test_what_all_share_begins_and_ends_every_delivered_procedure():
    shared = delivered.shared()
    for each in delivered.delivered():
        steps = list(each.content.steps)
        assert steps[-len(shared.after) :] == shared.after
        assert {s.key for s in steps} >= {s.key for s in shared.before if s.key != "A3"}, each.key
        assert each.content.stops[: len(shared.stops)] == shared.stops
