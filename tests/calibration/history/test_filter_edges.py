"""The first and the last instant that a filter of the ledger, or a day of the history, takes in."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.history.as_it_stood import end_of
from calibration.history.filters import LedgerFilter
from calibration.history.forms import DayForm
from calibration.history.versions import Version
from plant.ledger.models import LedgerEntry

DAY = dt.date(2026, 3, 29)
MICROSECOND = dt.timedelta(microseconds=1)
MIDNIGHT = dt.datetime(2026, 3, 29, tzinfo=dt.UTC)
NEXT_MIDNIGHT = dt.datetime(2026, 3, 30, tzinfo=dt.UTC)


def kept(asked: dict[str, str], person, instant: dt.datetime) -> bool:
    """Whether the filter keeps an entry made at this instant."""
    entry = LedgerEntry.objects.create(
        at=instant, person=person, person_name=person.name, act="add product",
        subject_kind="product", subject="palm olein",
    )  # fmt: skip
    entries = LedgerFilter(asked, LedgerEntry.objects.all()).qs
    return entry in entries


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("instant", "within"),
    [
        (NEXT_MIDNIGHT - MICROSECOND, True),
        (NEXT_MIDNIGHT, False),
    ],
)
def test_until_takes_in_the_last_instant_of_its_day_and_no_later_one(auditor, instant, within):
    assert kept({"until": "2026-03-29"}, auditor, instant) is within


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("instant", "within"),
    [
        (MIDNIGHT, True),
        (MIDNIGHT - MICROSECOND, False),
    ],
)
def test_from_takes_in_the_first_instant_of_its_day_and_no_earlier_one(auditor, instant, within):
    assert kept({"since": "2026-03-29"}, auditor, instant) is within


def test_a_day_ends_at_midnight_of_the_site_also_when_the_clock_was_put_forward(site):
    """Lisbon, 29 March 2026: summer time begins at 1 o'clock, so midnight is 23:00 UTC."""
    assert end_of(DAY, site) == dt.datetime(2026, 3, 29, 23, tzinfo=dt.UTC) - MICROSECOND


def test_a_version_holds_from_its_first_instant_to_just_before_its_end():
    version = Version({}, since=MIDNIGHT, until=NEXT_MIDNIGHT, transaction=1)
    assert version.held_at(MIDNIGHT)
    assert version.held_at(NEXT_MIDNIGHT - MICROSECOND)
    assert not version.held_at(NEXT_MIDNIGHT)
    assert not version.held_at(MIDNIGHT - MICROSECOND)


def test_a_version_without_an_end_holds_still():
    assert Version({}, since=MIDNIGHT, until=None, transaction=1).held_at(NEXT_MIDNIGHT)


@pytest.mark.parametrize(
    ("day", "valid"),
    [
        ("2026-03-29", True),
        ("2026-03-30", False),
        ("1990-01-01", True),
        ("1989-12-31", False),
    ],
)
def test_the_day_asked_for_lies_between_1990_and_today(day, valid):
    assert DayForm({"day": day}, today=DAY).is_valid() is valid
