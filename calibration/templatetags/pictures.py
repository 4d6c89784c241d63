"""Span strip, interval tube, states and workload: small pictures drawn from plain numbers.

Each is one string built once, since a list shows fifty of them. Everything that reaches the markup
is either a number formatted here or escaped by format_html.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django import template
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString

from calibration.charts import Spec
from calibration.due.reads import WorkWeek
from plant.quantities import MONTHS, NOTHING, day_text, number, percent, percent_decimals
from plant.templatetags.marks import plate, state

register = template.Library()
register.simple_tag(plate)
register.simple_tag(state)

# ---- span strip: the tolerance band is always the same width, so rows compare at a glance ----
CENTRE, HALF_BAND = 104.0, 44.0
FURTHEST = 1.5  # tolerances; beyond this a mark stops at the edge as an arrow with its value
STRIP = (
    '<svg class="strip{}" viewBox="0 0 208 24" role="img" aria-label="{}">'
    '<path class="axis" d="M34 12H174"/><path class="tol" d="M60 4H148V20H60z"/>'
    '<path class="edges" d="M60 2V22M148 2V22"/><path class="zero" d="M104 1V23"/>{}</svg>'
)
# kind: radius, the circle drawn from its left edge, the diamond drawn from below its top
SHAPES = {
    "found": (4.2, "a4.2 4.2 0 1 0 8.4 0a4.2 4.2 0 1 0 -8.4 0z", "7l5 5l-5 5l-5 -5z"),
    "left": (2.7, "a2.7 2.7 0 1 0 5.4 0a2.7 2.7 0 1 0 -5.4 0z", "8.5l3.5 3.5l-3.5 3.5l-3.5 -3.5z"),
}
NO_ERROR = SafeString('<span class="soft">failed, no error known</span>')


@register.simple_tag
def span_strip(
    found: Sequence[Any], left: Sequence[Any], tolerance: Any, size: str = ""
) -> SafeString:
    """``{% span_strip found left tolerance %}``: errors in % of span, tolerance in % of span.

    Hollow marks are as found, filled ones as left; outside the band a mark turns into a diamond.
    Values of None (no reading) are left out; a record without any error is one of a failure.
    ``size``: "" or "large".
    """
    founds = [float(error) for error in found if error is not None]
    lefts = [float(error) for error in left if error is not None]
    if not (founds or lefts) or not tolerance:
        return NO_ERROR
    band = float(tolerance)
    marks = _marks(founds, band, "found") + _marks(lefts, band, "left")
    return format_html(
        STRIP,
        " " + size if size else "",
        strip_sentence(founds, lefts, band),
        SafeString(marks + _arrows(founds + lefts, band)),
    )


def _marks(errors: Iterable[float], tolerance: float, kind: str) -> str:
    """One path of circles inside the band and one of diamonds outside it."""
    inside, outside = "", ""
    scale, start, circle, diamond = HALF_BAND / tolerance, *SHAPES[kind]
    for error in errors:
        if -tolerance <= error <= tolerance:
            inside += f"M{CENTRE - start + error * scale:.1f} 12{circle}"
        elif abs(error) <= FURTHEST * tolerance:
            outside += f"M{CENTRE + error * scale:.1f} {diamond}"
    drawn = f'<path class="{kind}" d="{inside}"/>' if inside else ""
    return f'{drawn}<path class="{kind} out" d="{outside}"/>' if outside else drawn


def _arrows(errors: Sequence[float], tolerance: float) -> str:
    """What lies beyond the strip: an arrow at its edge and the furthest value in figures."""
    if max(map(abs, errors)) <= FURTHEST * tolerance:
        return ""
    drawn = ""
    low, high = min(errors), max(errors)
    if low < -FURTHEST * tolerance:
        drawn += '<path class="beyond" d="M44 6 36 12l8 6"/>'
        drawn += f'<text x="32" y="16" text-anchor="end">{_short(low)}</text>'
    if high > FURTHEST * tolerance:
        drawn += '<path class="beyond" d="M164 6 172 12l-8 6"/>'
        drawn += f'<text x="176" y="16">{_short(high)}</text>'
    return drawn


def _short(error: float) -> str:
    """At most five characters, so that it fits beside the arrow."""
    size = abs(error)
    return number(error, 2 if size < 10 else 1 if size < 100 else 0, signed=True)


def strip_sentence(found: Sequence[float], left: Sequence[float], tolerance: float) -> str:
    """What the strip shows, for those who do not see it.

    >>> strip_sentence([-0.62, -0.3], [0.04], 0.5)
    'as found −0.62 to −0.30, as left +0.04 % of span; tolerance ±0.50; 1 of 2 as found outside'
    """
    groups = [(word, errors) for word, errors in (("as found", found), ("as left", left)) if errors]
    ranges = ", ".join(f"{word} {_extent(errors, tolerance)}" for word, errors in groups)
    text = f"{ranges} % of span; tolerance ±{number(tolerance, percent_decimals(tolerance))}"
    for word, errors in groups:
        outside = sum(abs(error) > tolerance for error in errors)
        if outside:
            text += f"; {outside} of {len(errors)} {word} outside"
    return text


def _extent(errors: Sequence[float], tolerance: float) -> str:
    low, high = percent(min(errors), tolerance), percent(max(errors), tolerance)
    return low if low == high else f"{low} to {high}"


# ---- interval tube ----
TUBE_LENGTH, TUBE_SPILL = 100.0, 18.0


@register.simple_tag
def tube(fraction: Any) -> SafeString:
    """``{% tube fraction %}``: how much of the interval has run, 1 = due today.

    What is overdue runs over the brim, hatched.
    """
    if fraction is None:
        return SafeString('<span class="soft">no interval</span>')
    run = max(0.0, float(fraction))
    width = min(run, 1.0) * TUBE_LENGTH
    drawn = f'<path class="run" d="M2 3H{2 + width:.1f}V13H2z"/>' if width >= 0.5 else ""
    if run > 1.0:
        # Half an interval late fills the spill; later than that no longer matters to the eye.
        spill = max(5.0, min(run - 1.0, 0.5) / 0.5 * TUBE_SPILL)
        drawn += f'<path class="spill" d="M102 1H{102 + spill:.1f}V15H102z"/>'
        drawn += f'<path class="hatch" d="{hatch(102, 1, spill, 14, 4)}"/>'
        drawn += '<path class="brim" d="M102 0V16"/>'
    return format_html(
        '<svg class="tube" viewBox="0 0 122 16" role="img"'
        ' aria-label="{} % of the interval has run">'
        '<rect class="wall" x="1" y="2.5" width="101" height="11" rx="2"/>{}</svg>',
        f"{run * 100:.0f}",
        SafeString(drawn),
    )


def hatch(x: float, y: float, width: float, height: float, step: float) -> str:
    """Path of slanted strokes filling a rectangle; needs no pattern and so no id in the page.

    >>> hatch(0, 0, 4, 4, 4)
    'M0.0 4.0L4.0 0.0'
    """
    strokes = []
    reach = step
    while reach < width + height - 0.01:
        # The stroke x + y = reach, cut to the rectangle; y counts from its top.
        x0, x1 = max(0.0, reach - height), min(width, reach)
        strokes.append(f"M{x + x0:.1f} {y + reach - x0:.1f}L{x + x1:.1f} {y + reach - x1:.1f}")
        reach += step
    return "".join(strokes)


# ---- states ----
VERDICT_KINDS = {"pass": "ok", "fail": "bad", "inconclusive": "doubt"}


@register.simple_tag
def verdict(word: str | None) -> SafeString:
    """``{% verdict "pass" %}``: pass, fail or inconclusive; a str enum will do."""
    text = str(getattr(word, "value", word) or "")
    return state(VERDICT_KINDS.get(text, "plan"), text or "no verdict")


@register.simple_tag
def scaled(value: Any, by: float, decimals: int, signed: bool = True) -> str:
    """``{% scaled error units.signal 3 %}``: a value in another unit, with its sign."""
    return NOTHING if value is None else number(float(value) * by, decimals, signed=signed)


# ---- workload ----
LOAD_WIDTH, LOAD_HEIGHT, LOAD_FLOOR = 1040.0, 150.0, 124.0


@register.inclusion_tag("calibration/due/_workload.html")
def workload(weeks: Sequence[WorkWeek], capacity: Any) -> dict[str, Any]:
    """``{% workload weeks capacity %}``: hours due by week, with a table.

    The crew's hours (``capacity`` a week, or None) are a dashed line; a week above them differs
    by colour and hatching.
    """
    limit = float(capacity or 0)
    peak = max([limit, *(week.hours for week in weeks)], default=0.0) or 1.0
    step = LOAD_WIDTH / max(len(weeks), 1)
    high = (LOAD_FLOOR - 24) / peak
    bars = [_bar(week, i * step, step * 0.76, high, limit) for i, week in enumerate(weeks)]
    over = sum(1 for week in weeks if limit and week.hours > limit)
    return {
        "bars": SafeString("".join(bars)),
        "months": _months(weeks, step),
        "capacity": limit,
        "capacity_y": f"{LOAD_FLOOR - limit * high:.1f}",
        "lines": SafeString("".join(_week_line(week, limit) for week in weeks if week.points)),
        "over": over,
        "sentence": _load_sentence(weeks, limit, over),
    }


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
            marks.append((f"{i * step:.1f}", f"{name} {month[0]}" if month[1] == 1 else name))
            last = month
    # A month that shows only its last week or two would have its name run into the next one's.
    if len(marks) > 1 and float(marks[1][0]) - float(marks[0][0]) < 32:
        del marks[0]
    return marks


def _load_sentence(weeks: Sequence[WorkWeek], limit: float, over: int) -> str:
    total = sum(week.hours for week in weeks)
    text = f"Hours of work due by week, {len(weeks)} weeks, {number(total, 0)} h in all"
    return f"{text}; {over} above the crew's {number(limit, 1)} h" if limit else text


# ---- charts ----
@register.inclusion_tag("calibration/_chart.html")
def chart(spec: Spec, name: str, title: str, description: str) -> dict[str, Any]:
    """``{% chart spec "drift" title description %}``: a figure from calibration.charts.

    name: unique on the page. The page prints ``{% chart_scripts %}`` once in its scripts block, and
    a table with the same numbers beneath the figure.
    """
    return {"spec": spec, "name": name, "title": title, "description": description}


@register.inclusion_tag("calibration/_chart_scripts.html")
def chart_scripts() -> dict[str, Any]:
    """``{% block scripts %}{% chart_scripts %}{% endblock %}``: only on pages that show a chart."""
    return {}
