"""What changed between two versions: said in words, and marked word by word."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from calibration.procedures.version_change import Content, Piece, Step, compare, pieces

PERMIT = Step("caution", "Permit in force, gas test done.", "A1")
STANDS = Step("read", "As it stands against a dip.", "A9", "as it stands")
FOUND = Step("read", "As found at five points.", "T3", "as found")
CLEAN = Step("prepare", "Wipe the probe.", "T4")
LOOP = Step("restore", "Loop returned.", "Z1")
STEPS = (PERMIT, STANDS, FOUND, CLEAN, LOOP)
OLD = Content("wetted level by dip", [Decimal(0), Decimal(50), Decimal(100)], True, 30, STEPS)


def with_steps(*steps: Step) -> Content:
    return replace(OLD, steps=steps)


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        (STEPS, "nothing changed"),
        ((PERMIT, STANDS, FOUND, LOOP), "1 step removed"),
        ((*STEPS, Step("restore", "Label on.", "Z4")), "1 step added"),
        ((PERMIT, STANDS, CLEAN, FOUND, LOOP), "1 step moved"),
        ((LOOP, PERMIT, STANDS, FOUND, CLEAN), "1 step moved"),
        ((replace(PERMIT, text="Permit in force."), *STEPS[1:]), "1 step reworded"),
        ((replace(PERMIT, stop="Gas: leave."), *STEPS[1:]), "1 step changed"),
        # Another key, the same words: the same step; another key and other words: another step.
        ((replace(PERMIT, key="S1"), *STEPS[1:]), "1 step changed"),
        ((replace(PERMIT, key="S1", text="Ask the shift."), *STEPS[1:]), "1 step added, 1 removed"),
        # No key any more, much the same words.
        (
            (replace(PERMIT, key="", text="Permit in force, gas test made."), *STEPS[1:]),
            "1 step reworded, 1 changed",
        ),
        (
            (
                replace(LOOP, text="Loop back."),
                PERMIT,
                STANDS,
                replace(FOUND, text="As found."),
                CLEAN,
            ),
            "2 steps reworded, 1 moved",
        ),
    ],
)
def test_the_sentence_counts_what_happened_to_the_steps(steps, said):
    change = compare(OLD, with_steps(*steps))
    assert str(change) == said
    assert bool(change) == (said != "nothing changed")


def test_facts_are_named_and_lists_tell_only_what_came_or_went():
    old = replace(OLD, stops=["Gas alarm.", "Leak."], adjusts=["zero", "span"])
    new = replace(
        old,
        percents=[Decimal(0), Decimal("12.50")],
        up_and_down=False,
        stops=["Leak.", "Storm."],
        adjusts=[],
    )
    change = compare(old, new)
    assert str(change) == (
        "test points, what may be adjusted and when to stop and call for help changed"
    )
    facts = {fact.name: [(p.mark, p.text) for p in fact.pieces] for fact in change.facts}
    assert facts["test points"] == [
        ("removed", "0, 50, 100 %, rising and falling"),
        ("added", "0, 12.5 %"),
    ]
    assert facts["when to stop and call for help"] == [
        ("removed", "Gas alarm."),
        ("added", "Storm."),
    ]
    assert facts["what may be adjusted"] == [("removed", "zero"), ("removed", "span")]


def test_a_list_in_another_order_is_said():
    old = replace(OLD, stops=["Gas alarm.", "Leak."])
    (fact,) = compare(old, replace(old, stops=["Leak.", "Gas alarm."])).facts
    assert list(fact.pieces) == [Piece("", "in another order")]


def test_words_are_marked_where_they_differ():
    shown = list(pieces("Bond it, below 1 Ω, then read.", "Bond it, below 0.5 Ω, then read."))
    assert shown == [
        Piece("", "Bond it, below"),
        Piece("removed", "1"),
        Piece("added", "0.5"),
        Piece("", "Ω, then read."),
    ]


def test_what_is_told_gives_back_both_texts():
    old, new = "Wait until the product is still, 15 min.", "Wait 30 min after the transfer, still."
    shown = list(pieces(old, new))
    assert " ".join(piece.text for piece in shown if piece.mark != "added") == old
    assert " ".join(piece.text for piece in shown if piece.mark != "removed") == new


def test_a_removed_step_is_told_where_it_stood_and_numbers_are_those_of_each_version():
    new = with_steps(STANDS, FOUND, replace(CLEAN, text="Wipe it."), LOOP)
    rows = compare(OLD, new).steps
    assert [(r.step.key, r.was, r.number, list(r.words)) for r in rows] == [
        ("A1", 1, None, ["removed"]),
        ("T4", 4, 3, ["reworded"]),
    ]


def test_what_a_step_asks_is_compared_with_its_unit_kind_and_need():
    ask = {"name": "bond", "label": "Bond", "kind": "number", "unit": "Ω", "needed": True}
    old = with_steps(replace(CLEAN, asks=[ask]))
    (row,) = compare(old, with_steps(replace(CLEAN, asks=[ask | {"needed": False}]))).steps
    assert [(p.mark, p.text) for p in row.facts[0].pieces] == [
        ("removed", "Bond, Ω (number)"),
        ("added", "Bond, Ω (number, optional)"),
    ]
