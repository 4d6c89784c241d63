"""What a change of a row says: every field that differs, in the words of the page."""

from __future__ import annotations

from calibration.history.versions import changes_between
from plant.people.models import Person
from plant.transmitters.models import Installation


def said(model, before, after) -> list[tuple[str, str, str]]:
    return [(c.name, c.was, c.now) for c in changes_between(model, before, after)]


def test_a_changed_day_is_said_as_a_day():
    before = {"installed_on": "2026-01-31", "removed_on": None}
    after = {"installed_on": "2026-02-28", "removed_on": "2026-03-01"}
    changed = {(was, now) for _, was, now in said(Installation, before, after)}
    assert changed == {("31 Jan 2026", "28 Feb 2026"), ("–", "1 Mar 2026")}


def test_a_changed_yes_or_no_is_said_so():
    assert [c[1:] for c in said(Person, {"wants_mail": True}, {"wants_mail": False})] == [
        ("yes", "no")
    ]


def test_what_the_database_keeps_for_itself_is_no_change_and_hides_none():
    before = {"id": 1, "entered_at": "a", "entered_in": 1, "email": "a@marram.example"}
    after = {"id": 2, "entered_at": "b", "entered_in": 2, "email": "b@marram.example"}
    assert [c[1:] for c in said(Person, before, after)] == [
        ("a@marram.example", "b@marram.example")
    ]


def test_a_row_that_did_not_change_says_nothing():
    assert said(Person, {"name": "A. Marrowby"}, {"name": "A. Marrowby"}) == []
