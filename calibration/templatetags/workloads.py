"""The work ahead as a picture: hours by week against those of the crew, with a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import template
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString

from calibration.due.weeks import WorkWeek
from calibration.templatetags.pictures import hatch
from plant.quantities import MONTHS, day_text, number

register = template.Library()

LOAD_WIDTH, LOAD_HEIGHT, LOAD_TOP, LOAD_FLOOR = 1080.0, 156.0, 22.0, 130.0
LOAD_LEFT = 48.0  # room for the hours on the axis
HOURS = (1, 2, 4, 5, 8, 10, 20, 40, 50, 80, 100, 200, 400, 500, 1000)  # between two lines


@register.inclusion_tag("calibration/due/_workload.html")
def workload(weeks: Sequence[WorkWeek], capacity: Any, site: str = "") -> dict[str, Any]:
    """``{% workload weeks capacity site.name %}``: hours due by week on an axis, with a table.

    The crew's hours (``capacity`` a week, or None) are a dashed line; a week above them differs
    by colour and hatching.
    """
    limit = float(capacity or 0)
    peak = max([limit, *(week.hours for week in weeks)], default=0.0) or 1.0
    step = (LOAD_WIDTH - LOAD_LEFT) / max(len(weeks), 1)
    high = (LOAD_FLOOR - LOAD_TOP) / peak
    bars = [
        _bar(week, LOAD_LEFT + i * step, step * 0.76, high, limit) for i, week in enumerate(weeks)
    ]
    over = sum(1 for week in weeks if limit and week.hours > limit)
    return {
        "bars": SafeString("".join(bars)),
        "hours": _hour_lines(peak, high),
        "months": _months(weeks, step),
        "capacity": limit,
        "capacity_y": f"{LOAD_FLOOR - limit * high:.1f}",
        "lines": SafeString("".join(_week_line(week, limit) for week in weeks if week.points)),
        "over": over,
        "site": site,
        "sentence": _load_sentence(weeks, limit, over, site),
    }


def _hour_lines(peak: float, high: float) -> list[tuple[str, str]]:
    """The axis: about four lines, each with its height and its hours."""
    step = next((hours for hours in HOURS if 4 * hours >= peak), peak / 4)
    count = int(peak / step)
    return [
        (f"{LOAD_FLOOR - n * step * high:.1f}", f"{number(n * step, 0)} h")
        for n in range(count + 1)
    ]


def _bar(week: WorkWeek, x: float, width: float, high: float, limit: float) -> str:
    tall = week.hours * high
    if tall < 0.5:
        return ""
    y, over = LOAD_FLOOR - tall, bool(limit and week.hours > limit)
    drawn = format_html(
        '<rect x="{}" y="{}" width="{}" height="{}" rx="1"{}><title>{}</title></rect>{}',
        f"{x:.1f}",
        f"{y:.1f}",
        f"{width:.1f}",
        f"{tall:.1f}",
        SafeString(' class="over"') if over else "",
        week_sentence(week, limit),
        format_html('<path class="hatch" d="{}"/>', hatch(x, y, width, tall, 5)) if over else "",
    )
    return format_html('<a href="{}">{}</a>', week.url, drawn) if week.url else drawn


def _week_line(week: WorkWeek, limit: float) -> str:
    """The week as a row of the table beneath; numbers and days, and an address of our own."""
    shown = f'<time datetime="{week.starts_on}">{day_text(week.starts_on)}</time>'
    if week.url:
        shown = f'<a href="{conditional_escape(week.url)}">{shown}</a>'
    crew = f'<td class="num">{number(limit, 1)}</td>' if limit else ""
    load = "above the crew's hours" if limit and week.hours > limit else "within"
    return (
        f'<tr><td>{shown}</td><td class="num">{week.points}</td>'
        f'<td class="num">{number(week.hours, 1)}</td>{crew}<td>{load}</td></tr>'
    )


def week_sentence(week: WorkWeek, limit: float) -> str:
    """Week from 4 Jan 2027: 12.5 h, 9 points, over the crew's 10.0 h."""
    text = f"Week from {day_text(week.starts_on)}: {number(week.hours, 1)} h, {week.points} points"
    return f"{text}, over the crew's {number(limit, 1)} h" if limit and week.hours > limit else text


def _months(weeks: Sequence[WorkWeek], step: float) -> list[tuple[str, str]]:
    """Where each month begins, and its name; the year beside January and the first."""
    marks: list[tuple[str, str]] = []
    last = None
    for i, week in enumerate(weeks):
        month = (week.starts_on.year, week.starts_on.month)
        if month != last:
            name = MONTHS[month[1] - 1]
            marks.append(
                (f"{LOAD_LEFT + i * step:.1f}", f"{name} {month[0]}" if month[1] == 1 else name)
            )
            last = month
    # A month that shows only its last week or two would have its name run into the next one's.
    if len(marks) > 1 and float(marks[1][0]) - float(marks[0][0]) < 36:
        del marks[0]
    return marks


def _load_sentence(weeks: Sequence[WorkWeek], limit: float, over: int, site: str) -> str:
    total = sum(week.hours for week in weeks)
    where = f" at {site}" if site else ""
    text = f"Hours of work due by week{where}, {len(weeks)} weeks, {number(total, 0)} h in all"
    return f"{text}; {over} above the crew's {number(limit, 1)} h" if limit else text
