"""On which day a work was done, where the tablet's clock is a claim and the server's is the
measure.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Self

from calibration.tablet.content import Content
from calibration.tablet.models import FieldWork
from plant.quantities import day_text

FAR_OFF = 300.0  # s: beyond this the clock's being off is flagged and its day is looked at


@dataclass(frozen=True)
class DayOfWork:
    """``said``: why the day is not the tablet's, or why none can be named."""

    on: dt.date
    said: str = ""
    is_uncertain: bool = False


def day_of_work(content: Content, work: FieldWork, *, at: dt.datetime) -> DayOfWork:
    """The day at the site. It is between fetching the jobs and signing, both by the server's
    clock.

    The tablet's day is taken where it is one of these and agrees with its clock put right by what
    it was off when the work was signed. Else, if that leaves one day only, that day is taken, with
    a sentence; if more, a person has to say the day: the next due date and the validity of the
    standards depend on it.
    """
    possible = _Possible.of(content, work, at)
    claimed, corrected = content.done_on, _corrected(content, work)
    is_near = abs(work.skew_seconds) <= FAR_OFF
    if claimed in possible and (is_near or claimed == corrected):
        return DayOfWork(claimed)
    if possible.earliest == possible.latest:
        return DayOfWork(possible.latest, _said(claimed, possible.latest))
    if corrected is None or corrected not in possible:
        return _uncertain(claimed, possible.latest, possible, work)
    if is_near:  # minutes around midnight
        return DayOfWork(corrected, _said(claimed, corrected))
    return _uncertain(claimed, corrected, possible, work)


@dataclass(frozen=True)
class _Possible:
    """The days on which it can have been done, by the server's clock; earliest: None where the
    pack does not say.
    """

    earliest: dt.date | None
    latest: dt.date

    @classmethod
    def of(cls, content: Content, work: FieldWork, at: dt.datetime) -> Self:
        site, fetched = work.job.site, content.pack_made_at
        earliest = site.day_of(fetched) if fetched else None
        return cls(earliest, site.day_of(min(work.signed_at, at)))

    def __contains__(self, day: dt.date) -> bool:
        return (self.earliest is None or self.earliest <= day) and day <= self.latest

    def __str__(self) -> str:
        if self.earliest is None:
            return f"by {day_text(self.latest)}"
        return f"between {day_text(self.earliest)} and {day_text(self.latest)}"


def _corrected(content: Content, work: FieldWork) -> dt.date | None:
    """The tablet's day with its clock put right."""
    if content.finished_at is None:
        return None
    try:
        right = content.finished_at - dt.timedelta(seconds=work.skew_seconds)
    except OverflowError:
        return None
    return work.job.site.day_of(right)


def _uncertain(
    claimed: dt.date, likely: dt.date, possible: _Possible, work: FieldWork
) -> DayOfWork:
    text = (
        f"The tablet says {day_text(claimed)}, but its clock was off by "
        f"{off_text(work.skew_seconds)} when signed. It was done {possible}, most likely on "
        f"{day_text(likely)}: ask {work.person}."
    )
    return DayOfWork(likely, text, is_uncertain=True)


def off_text(seconds: float) -> str:
    """How far a clock was off, in the unit that suits: "3 min behind", "30 d ahead"."""
    size, word = abs(seconds), "ahead" if seconds > 0 else "behind"
    for unit, length in (("d", 86400), ("h", 3600), ("min", 60)):
        if size >= length:
            return f"{size / length:.0f} {unit} {word}"
    return f"{size:.0f} s {word}"


def _said(claimed: dt.date, taken: dt.date) -> str:
    return (
        f"The tablet's clock said {day_text(claimed)}. It was done on {day_text(taken)} by the "
        "server's clock, on which the job was fetched and signed."
    )
