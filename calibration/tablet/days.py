"""On which day a work was done, where the tablet's clock is a claim and the server's is the
measure.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from calibration.tablet.content import Content
from calibration.tablet.models import FieldWork
from plant.quantities import day_text

FAR_OFF = 300.0  # s: beyond this the clock's being off is flagged and its day is looked at


@dataclass(frozen=True)
class DayOfWork:
    """``said`` tells why the day is not the tablet's, or why none can be named."""

    on: dt.date
    said: str = ""
    is_uncertain: bool = False


def day_of_work(content: Content, work: FieldWork, *, at: dt.datetime) -> DayOfWork:
    """The day at the site. It lies between fetching the pack and signing, both by the server's
    clock.

    The tablet's day stands where it lies in there and agrees with its clock put right by what it
    was off when the work was signed. Else, if that leaves one day only, that day is taken and said;
    if more, a person has to say the day: the next due date and the validity of the standards hang
    on it.
    """
    site = work.job.site
    latest = site.day_of(min(work.signed_at, at))
    earliest = site.day_of(content.pack_made_at) if content.pack_made_at else None
    claimed, off = content.done_on, work.skew_seconds
    right = _put_right(content, off)
    corrected = site.day_of(right) if right else None

    def possible(day: dt.date) -> bool:
        return (earliest is None or earliest <= day) and day <= latest

    if possible(claimed) and (abs(off) <= FAR_OFF or claimed == corrected):
        return DayOfWork(claimed)
    if earliest == latest:
        return DayOfWork(latest, _said(claimed, latest))
    if abs(off) <= FAR_OFF and corrected and possible(corrected):  # minutes around midnight
        return DayOfWork(corrected, _said(claimed, corrected))
    guess = corrected if corrected and possible(corrected) else latest
    since = (
        f"between {day_text(earliest)} and {day_text(latest)}"
        if earliest
        else f"by {day_text(latest)}"
    )
    return DayOfWork(
        guess,
        f"The tablet says {day_text(claimed)}, but its clock was off by {off_text(off)} when "
        "signed. It was done "
        f"{since}, most likely on {day_text(guess)}: ask {work.person}.",
        is_uncertain=True,
    )


def off_text(seconds: float) -> str:
    """How far a clock was off, in the unit that tells: "3 min behind", "30 d ahead"."""
    size, word = abs(seconds), "ahead" if seconds > 0 else "behind"
    for unit, length in (("d", 86400), ("h", 3600), ("min", 60)):
        if size >= length:
            return f"{size / length:.0f} {unit} {word}"
    return f"{size:.0f} s {word}"


def _put_right(content: Content, off: float) -> dt.datetime | None:
    if content.finished_at is None:
        return None
    try:
        return content.finished_at - dt.timedelta(seconds=off)
    except OverflowError:
        return None


def _said(claimed: dt.date, taken: dt.date) -> str:
    return (
        f"The tablet's clock said {day_text(claimed)}. It was done on {day_text(taken)} by the "
        "server's clock, "
        "on which the job was fetched and signed."
    )
