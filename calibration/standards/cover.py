"""How the certificates of a standard cover a day: valid, soon to lapse, lapsed, none, withdrawn."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from calibration.standards.models import ReferenceStandard

NOTICE_DAYS = 60  # a certificate shows as soon to lapse this long before: a laboratory takes weeks
STATES = {
    "valid": ("ok", "valid"),
    "soon": ("soon", "lapse soon"),
    "lapsed": ("over", "lapsed"),
    "none": ("plan", "no certificate"),
    "withdrawn": ("off", "withdrawn"),
}


class Cover(NamedTuple):
    """A standard and how its certificates cover its site's day: key of STATES, kind of mark and
    words.
    """

    standard: ReferenceStandard
    ends_on: dt.date | None
    key: str
    kind: str
    words: str


def cover_of(standard: ReferenceStandard, today: dt.date) -> Cover:
    """``standard``: as ``ReferenceStandard.objects.with_end`` gives it."""
    ends_on: dt.date | None = standard.ends_on  # type: ignore[attr-defined]
    key = _state(standard, ends_on, today)
    kind, words = STATES[key]
    days = (ends_on - today).days if ends_on else 0
    exact = {
        "soon": f"lapses in {days} d" if days else "lapses today",
        "lapsed": f"lapsed {-days} d ago",
    }
    return Cover(standard, ends_on, key, kind, exact.get(key, words))


def _state(standard: ReferenceStandard, ends_on: dt.date | None, today: dt.date) -> str:
    if standard.withdrawn_on and standard.withdrawn_on <= today:
        return "withdrawn"
    if ends_on is None:
        return "none"
    if ends_on < today:
        return "lapsed"
    return "soon" if (ends_on - today).days <= NOTICE_DAYS else "valid"
