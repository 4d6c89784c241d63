"""Procedures: what comes with Spanbook, and the order of steps that a version must keep."""

from __future__ import annotations

import re

import pytest

from calibration.procedures.acts import check_order
from calibration.procedures.delivered import load_seeds
from calibration.procedures.models import InputWay, Procedure, ProcedureStep, Shape
from calibration.procedures.version_change import Step
from calibration.records.models import Adjustment
from plant.refusals import Refused
from plant.transmitters.models import Principle
from tests.makers import TODAY

STANDS, FOUND = Step("read", "a", stage="as it stands"), Step("read", "b", stage="as found")
ADJUST, LEFT = Step("adjust", "c"), Step("read", "d", stage="as left")
RESTORE = Step("restore", "e")
KINDS_OF_ASK = {"text", "number", "time", "tick", "photo", "standards"}


@pytest.mark.parametrize(
    ("steps", "shape", "said"),
    [
        ([FOUND], Shape.POINTS, "one step that reads it as it stands; here are 0"),
        ([STANDS, STANDS, FOUND], Shape.POINTS, "here are 2"),
        ([FOUND, STANDS], Shape.POINTS, "Step 1 comes before step 2"),
        ([STANDS], Shape.POINTS, "No step reads as found"),
        ([STANDS, FOUND], Shape.LOOK, "Step 2: a look only"),
        ([STANDS, ADJUST, FOUND, LEFT], Shape.POINTS, "Step 2 adjusts before as found"),
        ([STANDS, FOUND, ADJUST], Shape.POINTS, "no step after it reads as left"),
        ([STANDS, FOUND, ADJUST, LEFT, ADJUST], Shape.POINTS, "Step 5 adjusts, and no step after"),
        ([STANDS, FOUND, LEFT], Shape.POINTS, "Step 3 reads as left, but no step adjusts"),
        ([STANDS, RESTORE, FOUND], Shape.POINTS, "Step 2 restores and other steps follow"),
        ([STANDS, FOUND, Step("read", "f")], Shape.POINTS, "Step 3: a reading says of which stage"),
        (
            [STANDS, FOUND, Step("caution", "f", stage="as left")],
            Shape.POINTS,
            "Step 3: a reading says",
        ),
        (
            [STANDS, Step("read", "b", "T1", "as found"), Step("restore", "e", "T1")],
            Shape.POINTS,
            "Steps 2 and 3 have the key T1 both",
        ),
        (
            [STANDS, FOUND, Step("restore", "e", asks=[{"name": "a", "label": "Loop"}] * 2)],
            Shape.POINTS,
            "Step 3 asks for “Loop” twice",
        ),
    ],
)
def test_an_order_that_would_spoil_a_record_is_refused(steps, shape, said):
    with pytest.raises(Refused, match=re.escape(said)):
        check_order(steps, shape=shape)


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
    assert load_seeds(on=TODAY) == 14
    assert load_seeds(on=TODAY) == 0
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
    load_seeds(on=TODAY)
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
    load_seeds(on=TODAY)
    for procedure in Procedure.objects.all():
        steps = list(procedure.versions.get().steps.all())
        stands = next(n for n, step in enumerate(steps) if step.stage == "as it stands")
        before = [step.key for step in steps[:stands]]
        # As it stands is read against a dip: permit, inhibits, roof, static charge, mains.
        assert {"A1", "A2", "A4", "A5", "A6"} <= set(before), procedure.key
        # Only what all procedures share comes first; what isolates, drains or opens is a
        # procedure's own.
        assert all(key.startswith("A") for key in before), procedure.key
