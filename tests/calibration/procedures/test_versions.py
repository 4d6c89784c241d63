"""Procedures: what comes with Spanbook, and the order of steps that a version must keep."""

from __future__ import annotations

import pytest

from calibration.procedures.acts import publish_missing
from calibration.procedures.models import InputWay, Procedure, ProcedureStep, Shape
from calibration.procedures.order import check_order
from calibration.procedures.refusals import WrongSteps
from calibration.procedures.version_change import Step
from calibration.records.models import Adjustment
from plant.transmitters.models import Principle
from tests.makers import TODAY

STANDS, FOUND = Step("read", "a", stage="as it stands"), Step("read", "b", stage="as found")
ADJUST, LEFT = Step("adjust", "c"), Step("read", "d", stage="as left")
RESTORE = Step("restore", "e")
KINDS_OF_ASK = {"text", "number", "time", "tick", "photo", "standards"}


@pytest.mark.parametrize(
    ("steps", "shape", "fault", "places"),
    [
        ([FOUND], Shape.POINTS, "as it stands", ()),
        ([STANDS, STANDS, FOUND], Shape.POINTS, "as it stands", ()),
        ([FOUND, STANDS], Shape.POINTS, "before as it stands", (1, 2)),
        ([STANDS], Shape.POINTS, "no as found", ()),
        ([STANDS, FOUND], Shape.LOOK, "more than a look", (2,)),
        ([STANDS, ADJUST, FOUND, LEFT], Shape.POINTS, "adjusts too early", (2,)),
        ([STANDS, FOUND, ADJUST], Shape.POINTS, "no as left", (3,)),
        ([STANDS, FOUND, ADJUST, LEFT, ADJUST], Shape.POINTS, "no as left", (5,)),
        ([STANDS, FOUND, LEFT], Shape.POINTS, "as left alone", (3,)),
        ([STANDS, RESTORE, FOUND], Shape.POINTS, "restores too early", (2,)),
        ([STANDS, FOUND, Step("read", "f")], Shape.POINTS, "stage", (3,)),
        ([STANDS, FOUND, Step("caution", "f", stage="as left")], Shape.POINTS, "stage", (3,)),
        (
            [STANDS, Step("read", "b", "T1", "as found"), Step("restore", "e", "T1")],
            Shape.POINTS,
            "same key",
            (2, 3),
        ),
        (
            [STANDS, FOUND, Step("restore", "e", asks=[{"name": "a", "label": "Loop"}] * 2)],
            Shape.POINTS,
            "same question",
            (3,),
        ),
    ],
)
def test_an_order_that_would_spoil_a_record_is_refused(steps, shape, fault, places):
    with pytest.raises(WrongSteps) as refusal:
        check_order(steps, shape=shape)
    assert (refusal.value.fault, refusal.value.steps) == (fault, places)
    assert refusal.value.field == "steps"


def test_a_fault_is_said_with_the_steps_and_words_it_is_about():
    steps = [STANDS, Step("read", "b", "T1", "as found"), Step("restore", "e", "T1")]
    with pytest.raises(WrongSteps, match="Steps 2 and 3 both have the key T1; give one"):
        check_order(steps, shape=Shape.POINTS)


@pytest.mark.parametrize(
    ("steps", "shape"),
    [
        ([STANDS, FOUND, ADJUST, LEFT, RESTORE, RESTORE], Shape.POINTS),
        ([STANDS, FOUND, RESTORE], Shape.POINTS),
        ([STANDS, RESTORE], Shape.LOOK),
    ],
)
def test_the_usual_orders_are_accepted(steps, shape):
    assert check_order(steps, shape=shape) is None


@pytest.mark.django_db
def test_what_comes_with_spanbook_covers_every_principle_and_is_whole():
    assert len(publish_missing(on=TODAY)) == 14
    assert publish_missing(on=TODAY) == []
    covered = {p for procedure in Procedure.objects.all() for p in procedure.principles}
    assert covered == set(Principle.values)
    for procedure in Procedure.objects.all():
        version = procedure.versions.get()
        assert version.way in InputWay.values
        assert set(version.adjusts) <= set(Adjustment.Kind.values)
        assert len(version.stops) >= 10
        steps = list(version.steps.all())
        keys = [step.key for step in steps]
        assert all(keys)
        assert len(keys) == len(set(keys)), procedure.key
        asks = [ask for step in steps for ask in step.asks]
        assert {ask["kind"] for ask in asks} <= KINDS_OF_ASK
        assert all(set(ask) == {"name", "label", "kind", "unit", "needed"} for ask in asks)
        assert sum(ask["kind"] == "standards" for ask in asks) == 1
        for step in steps:
            names = [ask["name"] for ask in step.asks]
            assert len(names) == len(set(names))


@pytest.mark.django_db
def test_the_two_parts_of_a_capacitance_calibration_move_different_things():
    publish_missing(on=TODAY)
    output, tank = (
        Procedure.objects.get(key=key).versions.get() for key in ("cap-output", "cap-tank")
    )
    assert all(kind.startswith("output trim") for kind in output.adjusts)
    assert tank.adjusts == ["zero", "span"]
    bond = ProcedureStep.objects.get(version=tank, key="T1")
    before = list(tank.steps.filter(number__lt=tank.steps.get(stage="as found").number))
    assert bond in before
    assert "negative or reference terminal" in bond.text
    assert bond.stop


@pytest.mark.django_db
def test_a_dip_is_cautioned_and_nothing_is_isolated_before_it_is_read_as_it_stands():
    publish_missing(on=TODAY)
    for procedure in Procedure.objects.all():
        steps = list(procedure.versions.get().steps.all())
        stands = next(n for n, step in enumerate(steps) if step.stage == "as it stands")
        before = [step.key for step in steps[:stands]]
        # As it stands is read against a dip: permit, inhibits, roof, static charge, mains.
        assert {"A1", "A2", "A4", "A5", "A6"} <= set(before), procedure.key
        # Only what all procedures share comes first; what isolates, drains or opens is a
        # procedure's own.
        assert all(key.startswith("A") for key in before), procedure.key
