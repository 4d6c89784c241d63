"""Days named above the drift plot: today, the due date, the day on which the tolerance is met.

Each has a row of its own above the plot, so that no word lies on a result; a word reaches away from
the nearer edge, so that none is cut.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple

from calibration.chart_marks import Mark
from calibration.charts import Spec, words
from calibration.drift.sentences import limit_words
from plant.quantities import day_text

LINE_HEIGHT = 15
LATE = 0.4  # from here on along the axis a word stands to the left of its line

TODAY = Mark("today", "rule", "", {"stroke": "var(--ink)", "strokeWidth": 1.4})
DUE = Mark("due", "rule", "", {"stroke": "var(--warn)", "strokeWidth": 1.4, "strokeDash": [4, 3]})
AHEAD = Mark("limit", "rule", "", {"stroke": "var(--soft)", "strokeWidth": 1, "strokeDash": [2, 3]})
PASSED = Mark("limit", "rule", "", {"stroke": "var(--bad)", "strokeWidth": 1.4})
# A pennant on its pole, to the right and to the left of it.
FLAGS = {"right": "M0,-1L1.7,-0.4L0,0.2Z", "left": "M0,-1L-1.7,-0.4L0,0.2Z"}


@dataclass(frozen=True)
class NamedDay:
    """A day, its words, its line. flag: fill of the flag on the line; "" without one."""

    on: dt.date
    text: str
    line: Mark
    flag: str = ""

    @property
    def lines(self) -> int:
        return self.text.count("\n") + 1


def named_days(
    today: dt.date, due: dt.date, limit_on: dt.date | None, *, until: dt.date
) -> list[NamedDay]:
    """Those that lie in the plot. A limit day that has passed has other words, and another look."""
    days = [
        NamedDay(today, f"today {day_text(today)}", TODAY),
        NamedDay(due, f"due {day_text(due)}", DUE),
    ]
    if limit_on is not None:
        text = f"95 % band\n{limit_words(limit_on, today)}\non {day_text(limit_on)}"
        look = (PASSED, "var(--bad)") if limit_on < today else (AHEAD, "var(--sheet)")
        days.append(NamedDay(limit_on, text, *look))
    return [day for day in days if day.on <= until]


class _Placed(NamedTuple):
    day: NamedDay
    top: int  # pixels above the plot
    is_late: bool


def _placed(days: Sequence[NamedDay], first: dt.date, last: dt.date) -> list[_Placed]:
    """Rows such that no line runs through the word of another on the same side."""
    whole = max((last - first).days, 1)
    late = [day for day in days if (day.on - first).days >= LATE * whole]
    early = [day for day in days if day not in late]
    late.sort(key=lambda day: day.on)
    early.sort(key=lambda day: day.on, reverse=True)
    rising = [*late, *early]
    tops = accumulate((LINE_HEIGHT * day.lines for day in rising), initial=4)
    return [
        _Placed(day, top + LINE_HEIGHT * day.lines, day in late)
        for day, top in zip(rising, tops, strict=False)
    ]


def day_lines(days: Sequence[NamedDay], first: dt.date, last: dt.date) -> list[Spec]:
    layers = []
    for day, top, is_late in _placed(days, first, last):
        rows = [{"on": day.on.isoformat(), "text": day.text}]
        place: Spec = {"x": {"field": "on"}}
        line = {"data": {"values": rows}, "mark": day.line.spec(y=-top, y2="height")}
        layers.append(line | {"encoding": dict(place)})
        layers += _flag(day, top, is_late) if day.flag else []
        side = {"align": "right", "dx": -5} if is_late else {"align": "left", "dx": 5}
        weight = {"fontWeight": 600} if day.line in (TODAY, PASSED) else {}
        colour = "var(--bad)" if day.line is PASSED else "var(--ink)"
        look = side | weight | {"color": colour, "baseline": "top", "y": -top}
        layers += words(rows, place, **look)
    return layers


def _flag(day: NamedDay, top: int, is_late: bool) -> list[Spec]:
    mark = {
        "type": "point",
        "shape": FLAGS["right" if is_late else "left"],
        "size": 200,
        "filled": True,
        "opacity": 1,
        "fill": day.flag,
        "stroke": day.line.look["stroke"],
        "strokeWidth": 1.2,
        "y": 7 - top,
    }
    rows = [{"on": day.on.isoformat()}]
    return [{"data": {"values": rows}, "mark": mark, "encoding": {"x": {"field": "on"}}}]
