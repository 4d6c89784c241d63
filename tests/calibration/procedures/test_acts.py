"""Procedures made and changed by an approver: what is stored, what is refused, what the ledger
tells.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from calibration.procedures.acts import create, draft, draft_procedure, revise
from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.refusals import (
    KeyReserved,
    KeyTaken,
    NewerVersion,
    NoPrinciple,
    NoReason,
    NothingToAdjust,
    WrongSteps,
)
from calibration.procedures.version_change import Content, Step
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, Refused
from tests.makers import TODAY, a_procedure
from tests.races import at_once

CONTENT = Content(
    way="target at known distance",
    percents=[Decimal(0), Decimal(50), Decimal(100)],
    up_and_down=False,
    settle_seconds=120,
    adjusts=["zero"],
    stops=["Condensation on the face."],
    steps=[
        Step("caution", "Permit in force.", "A1"),
        Step("read", "As it stands.", "A9", "as it stands"),
        Step("read", "As found: the board at each distance.", "U2", "as found"),
        Step("adjust", "Offset of distance.", "U3"),
        Step("read", "As left.", "U4", "as left"),
    ],
)
FACTS = {"key": "ultra-board", "name": "Ultrasonic, board", "principles": ["ultrasonic"]}


def make(by, content=CONTENT, **more):
    facts = {**FACTS, "reason": "none fits the open channel", **more}
    return create(**facts, content=content, by=by, on=TODAY)


@pytest.mark.django_db
def test_a_new_procedure_is_published_as_version_1_with_one_entry(approver):
    version = make(approver)
    row = Procedure.objects.get(key="ultra-board")
    assert (row.name, row.principles) == ("Ultrasonic, board", ["ultrasonic"])
    assert (version.number, version.published_on) == (1, TODAY)
    stored = row.versions.get().content
    assert stored.steps == [replace(step, asks=[]) for step in CONTENT.steps]
    assert replace(stored, steps=()) == replace(CONTENT, steps=())
    entry = LedgerEntry.objects.get()
    assert (entry.act, entry.person, entry.why) == (
        "publish procedure",
        approver,
        "none fits the open channel",
    )
    assert entry.details == {"version": 1, "steps": 5, "for": "ultrasonic"}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("more", "refusal", "field"),
    [
        ({"key": "cap-tank"}, KeyTaken, "key"),
        ({"key": "new"}, KeyReserved, "key"),
        ({"key": "no spaces"}, Refused, "key"),
        ({"principles": []}, NoPrinciple, "principles"),
        ({"principles": ["dowsing"]}, NoPrinciple, "principles"),
        ({"name": " "}, Refused, "name"),
        ({"reason": " "}, NoReason, "reason"),
        ({"content": replace(CONTENT, steps=CONTENT.steps[:1])}, WrongSteps, "steps"),
        (
            {"content": replace(CONTENT, steps=[*CONTENT.steps[:2], *CONTENT.steps[3:]])},
            WrongSteps,
            "steps",
        ),
        ({"content": replace(CONTENT, adjusts=[])}, NothingToAdjust, "adjusts"),
        ({"content": replace(CONTENT, way="by eye")}, Refused, "way"),
        ({"content": replace(CONTENT, percents=[])}, Refused, "percents"),
    ],
)
def test_what_is_refused_stores_nothing(approver, more, refusal, field):
    a_procedure("cap-tank")
    with pytest.raises(refusal) as refused:
        make(approver, **more)
    assert (type(refused.value), refused.value.field) == (refusal, field)
    assert Procedure.objects.count() == 1
    assert not LedgerEntry.objects.exists()


@pytest.mark.django_db
def test_only_an_approver_makes_or_changes_one(planner, technician, auditor):
    version = a_procedure()
    for person in (planner, technician, auditor):
        with pytest.raises(NotAllowed):
            make(person)
        with pytest.raises(NotAllowed):
            revise(version.procedure, CONTENT, based_on=1, reason="a try", by=person, on=TODAY)
    assert ProcedureVersion.objects.count() == 1


@pytest.mark.django_db
def test_a_draft_is_checked_and_not_stored(site):
    row = draft_procedure(**FACTS)
    version, steps = draft(row, CONTENT, number=3)
    assert (version.number, [step.number for step in steps]) == (3, [1, 2, 3, 4, 5])
    assert version.adjusts == ["zero"]
    assert not Procedure.objects.exists()
    with pytest.raises(Refused):
        draft(row, replace(CONTENT, steps=CONTENT.steps[2:]))


@pytest.mark.django_db
def test_a_change_keeps_the_shape_and_needs_a_reason_and_the_newest_version(approver):
    first = make(approver)
    look = replace(CONTENT, shape="as it stands only", settle_seconds=60)
    second = revise(first.procedure, look, based_on=1, reason="quicker here", by=approver, on=TODAY)
    assert (second.number, second.shape, second.settle_seconds) == (2, "test points", 60)
    for typed, refusal in (
        ({"based_on": 1, "reason": "x"}, NewerVersion),
        ({"based_on": 2, "reason": " "}, NoReason),
    ):
        with pytest.raises(refusal):
            revise(first.procedure, CONTENT, **typed, by=approver, on=TODAY)
    assert first.procedure.versions.count() == 2


@pytest.mark.django_db
def test_a_reading_or_adjusting_step_asks_for_nothing_besides(approver):
    ask = {"name": "wind", "label": "Wind", "kind": "text", "unit": "", "needed": False}
    for n in (2, 3):
        steps = list(CONTENT.steps)
        steps[n] = replace(steps[n], asks=[ask])
        with pytest.raises(WrongSteps) as refusal:
            make(approver, replace(CONTENT, steps=steps))
        assert (refusal.value.fault, refusal.value.steps) == ("asks beside readings", (n + 1,))


@pytest.mark.django_db(transaction=True)
def test_of_two_who_make_the_same_key_at_once_one_is_refused(approver):
    made = at_once(*[lambda: make(approver)] * 2)
    refusals = [one for one in made if isinstance(one, Refused)]
    assert [refusal.field for refusal in refusals] == ["key"]
    assert ProcedureVersion.objects.count() == 1
    assert LedgerEntry.objects.filter(act="publish procedure").count() == 1


def test_a_draft_is_the_first_version_where_nothing_else_is_said():
    version, _ = draft(Procedure(key="new", name="New"), CONTENT)
    assert (version.number, version.reason) == (1, "")
