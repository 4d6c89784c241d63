"""The chance of passing in words and as a table: for pages that ask what a day would bring."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from calibration.drift.reads import PointTrend
from calibration.metrology.doubt import LAST
from plant.quantities import (
    day_text,
    plural_text,
    probability_text,
    share_text,
    short_probability_text,
)

FAILING = (0.05, 0.1, 0.2, 0.5)  # chances of failing of which the table names the day
NOT_IN_SIGHT = f"not within {LAST:.0f} years"


def chance_text(trend: PointTrend, day: dt.date) -> str:
    """The chance that an as found of that day passes; where only one end is known, of that; ""
    where nothing is.
    """
    chance = trend.chance(day)
    if chance is not None:
        return probability_text(chance)
    probability, end = _of_one_end(trend, day)
    return f"{probability_text(probability)} for {end} alone" if end else ""


def _of_one_end(trend: PointTrend, day: dt.date) -> tuple[float, str]:
    """The probability of the end that gives dates, and which it is; "" where neither does. Where
    both do the chance of the whole verdict is known.
    """
    for drift in (trend.zero, trend.span):
        if drift.dated:
            return drift.in_tolerance(day), drift.end
    return 0.0, ""


def basis_text(trend: PointTrend) -> str:
    """What the chance rests on beside the drift; "" where no chance of the verdict is known."""
    if trend.verdicts is None:
        return ""
    own, family = int(trend.verdicts.own[0]), int(trend.verdicts.family[0])
    tests = plural_text(own, "test")
    if not family:
        return (
            f"How its readings lie beside the line from zero to span rests on {tests} of its own "
            "and a cautious assumption."
        )
    return (
        f"How its readings lie beside the line from zero to span is known from {tests} of its own "
        f"and {plural_text(family, 'member')} of its family."
    )


# ---- the table ----
@dataclass(frozen=True)
class ChanceRow:
    """What a test on that day would bring. on: None where the day is not in sight.

    note: what the day is. is_crossing: from then on the chance is lower than this. is_today,
    is_past: how the row looks; a day that has passed says so.
    """

    on: dt.date | None
    passes: str
    fails: str
    note: str = ""
    is_today: bool = False
    is_past: bool = False
    is_crossing: bool = False

    @property
    def day(self) -> str:
        return day_text(self.on) if self.on else NOT_IN_SIGHT


def chance_rows(trend: PointTrend, *, today: dt.date, due: dt.date) -> list[ChanceRow]:
    """The chance today and on the due date, and the day of each chance of failing, in the order of
    time; empty where nothing is known.
    """
    rows = [*_days_asked(trend, today, due), *_days_of_failing(trend, today)]
    return sorted(rows, key=lambda row: (row.on or dt.date.max, not row.is_today))


def _days_asked(trend: PointTrend, today: dt.date, due: dt.date) -> list[ChanceRow]:
    asked = {today: "today"}
    asked[due] = "today, and due" if due == today else "due"
    rows = []
    for day, what in asked.items():
        chance, end = trend.chance(day), ""
        if chance is None:
            chance, end = _of_one_end(trend, day)
            if not end:
                return []
        note = f"{what}, for {end} alone" if end else what
        passes, fails = short_probability_text(chance), short_probability_text(1 - chance)
        rows.append(ChanceRow(day, passes, fails, note, day == today, day < today))
    return rows


def _days_of_failing(trend: PointTrend, today: dt.date) -> list[ChanceRow]:
    if trend.verdicts is None:
        return []
    last = max(drift.days[-1] for drift in (trend.zero, trend.span))
    floor = round(1 - trend.floor, 6)
    return [
        ChanceRow(
            day,
            share_text(1 - share),
            share_text(share),
            _note(day, today, last, is_floor=share == floor),
            is_past=day is not None and day < today,
            is_crossing=day is not None,
        )
        for share, day in _first_days(trend, sorted({*FAILING, floor}))
    ]


def _first_days(trend: PointTrend, shares: list[float]) -> list[tuple[float, dt.date | None]]:
    """Chances of failing and their days; of several on one day the highest, and of those that no
    day has the lowest.
    """
    days = trend.days_below([1 - share for share in shares])
    dated = {day: share for share, day in zip(shares, days, strict=True) if day is not None}
    never = [share for share, day in zip(shares, days, strict=True) if day is None]
    rows: list[tuple[float, dt.date | None]] = [(share, day) for day, share in dated.items()]
    return rows + [(share, None) for share in never[:1]]


def _note(day: dt.date | None, today: dt.date, last: dt.date, *, is_floor: bool) -> str:
    """How far the day is away, and whether the policy puts the point in doubt from there."""
    floor = ["in doubt from then on"] if is_floor else []
    if day is None:
        return "".join(floor)
    if day <= last:
        return ", ".join([*floor, "since the last result"])
    days = (day - today).days
    away = f"in {days} d" if days > 0 else "today" if days == 0 else f"passed {-days} d ago"
    return ", ".join([*floor, away])
