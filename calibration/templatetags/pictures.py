"""Span strip, interval tube, states and limit days: small pictures drawn from plain numbers.

Each is one string built once, since a list shows fifty of them. Everything that reaches the markup
is either a number formatted here or escaped by format_html.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from django import template
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString

from calibration.charts import Spec
from plant.level.tolerance import AT_LEAST, AT_MOST, Limits
from plant.points.tolerance_texts import limits_text
from plant.quantities import NOTHING, day_text, number, percent, with_unit
from plant.templatetags.marks import plate, state

register = template.Library()
register.simple_tag(plate)
register.simple_tag(state)

# ---- span strip: the tolerance band is always the same width, so rows compare at a glance ----
CENTRE, HALF_BAND = 104.0, 44.0
ENDS = 34.0, 174.0  # of the axis; an open side of the band reaches to them
FURTHEST = 1.5  # tolerances; beyond this a mark stops at the edge as an arrow with its value
FEW = 3  # readings; of more the least, the most and the worst are drawn
MIDDLE, UPPER, LOWER = 12.0, 8.0, 17.0  # where marks stand; two lanes where it was adjusted
STRIP = (
    '<svg class="strip{}" viewBox="0 0 208 24" role="img" aria-label="{}">'
    '<path class="axis" d="M34 12H174"/><path class="tol" d="{}"/>'
    '<path class="edges" d="{}"/><path class="zero" d="{}"/>{}</svg>'
)
# kind: radius, the circle from its left edge; half the diagonal, the diamond from its top
SHAPES = {
    "found": (4.2, "a4.2 4.2 0 1 0 8.4 0a4.2 4.2 0 1 0 -8.4 0z", 5.0, "l5 5l-5 5l-5 -5z"),
    "left": (
        2.7,
        "a2.7 2.7 0 1 0 5.4 0a2.7 2.7 0 1 0 -5.4 0z",
        3.5,
        "l3.5 3.5l-3.5 3.5l-3.5 -3.5z",
    ),
}
WITHIN = ' class="within"'
NO_ERROR = SafeString('<span class="soft">failed, no error known</span>')


@register.simple_tag
def span_strip(
    found: Sequence[Any], left: Sequence[Any], tolerance: Any, size: str = ""
) -> SafeString:
    """``{% span_strip found left tolerance %}``: errors in % of span; tolerance as Limits, or as ±
    so many % of span.

    Hollow marks are as found, filled ones as left; outside the band a mark turns into a diamond.
    Of more than a few readings a bar reaches from the least to the most, with the mark at the
    worst. As left equal to as found was not adjusted: both marks stand in one place. Values of None
    (no reading) are left out; a record without any error is one of a failure. ``size``: "" or
    "large".
    """
    founds = [float(error) for error in found if error is not None]
    lefts = [float(error) for error in left if error is not None]
    if not (founds or lefts) or not tolerance:
        return NO_ERROR
    band = tolerance if isinstance(tolerance, Limits) else Limits.of(tolerance)
    is_split = bool(founds and lefts and founds != lefts)
    upper, lower = (UPPER, LOWER) if is_split else (MIDDLE, MIDDLE)
    marks = _lane(founds, band, "found", upper) + _lane(lefts, band, "left", lower)
    return format_html(
        STRIP,
        " " + size if size else "",
        strip_sentence(founds, lefts, band),
        *_band(band),
        SafeString(marks + _arrows(founds + lefts, band)),
    )


def _band(limits: Limits) -> tuple[str, str, str]:
    """The paths of the band, its edges and zero."""
    edges = [round(_place(edge, limits), 1) for edge in limits.edges]
    low = ENDS[0] if limits.sides == AT_MOST else edges[0]
    high = ENDS[1] if limits.sides == AT_LEAST else edges[-1]
    band = f"M{low:g} 2H{high:g}V22H{low:g}z"
    zero = round(_place(0.0, limits), 1)
    return band, "".join(f"M{edge:g} 1V23" for edge in edges), f"M{zero:g} 1V23"


def _lane(errors: Sequence[float], limits: Limits, kind: str, y: float) -> str:
    """Each of a few readings; of many their reach and the worst."""
    if len(errors) <= FEW:
        return _marks(errors, limits, kind, y)
    low, high = (_place(end, limits) for end in (min(errors), max(errors)))
    ends = f"M{low:.1f} {y - 3:.1f}v6M{high:.1f} {y - 3:.1f}v6"
    reach = f'<path class="reach {kind}" d="M{low:.1f} {y:.1f}H{high:.1f}{ends}"/>'
    return reach + _marks([limits.furthest(errors)], limits, kind, y)


def _share(error: float, limits: Limits) -> float:
    """From the middle of the strip, in half widths of the band; zero is the middle beside an open
    side.
    """
    return error / limits.size if limits.is_one_sided else (error - limits.centre) / limits.half


def _place(error: float, limits: Limits) -> float:
    """Across the strip, and not beyond its edges."""
    return CENTRE + max(-FURTHEST, min(FURTHEST, _share(error, limits))) * HALF_BAND


def _marks(errors: Iterable[float], limits: Limits, kind: str, y: float) -> str:
    """One path of circles inside the band and one of diamonds outside it."""
    inside, outside = "", ""
    radius, circle, half, diamond = SHAPES[kind]
    for error in errors:
        x = _place(error, limits)
        if abs(_share(error, limits)) > FURTHEST:
            continue
        if limits.holds(error):
            inside += f"M{x - radius:.1f} {y:.1f}{circle}"
        else:
            outside += f"M{x:.1f} {y - half:.1f}{diamond}"
    drawn = f'<path class="{kind}" d="{inside}"/>' if inside else ""
    return f'{drawn}<path class="{kind} out" d="{outside}"/>' if outside else drawn


def _arrows(errors: Sequence[float], limits: Limits) -> str:
    """What lies beyond the strip: an arrow at its edge and the furthest value in figures."""
    drawn = ""
    low, high = min(errors), max(errors)
    if _share(low, limits) < -FURTHEST:
        place = 'x="32" y="16" text-anchor="end"'
        drawn += _arrow("M44 6 36 12l8 6", place, low, limits)
    if _share(high, limits) > FURTHEST:
        drawn += _arrow("M164 6 172 12l-8 6", 'x="176" y="16"', high, limits)
    return drawn


def _arrow(path: str, place: str, error: float, limits: Limits) -> str:
    """Beside an open side an error may lie beyond the strip and within the tolerance."""
    within = limits.holds(error)
    marks = f'<path class="beyond{" within" if within else ""}" d="{path}"/>'
    return f"{marks}<text {place}{WITHIN if within else ''}>{_short(error)}</text>"


def _short(error: float) -> str:
    """At most five characters, so that it fits beside the arrow."""
    size = abs(error)
    return number(error, 2 if size < 10 else 1 if size < 100 else 0, signed=True)


def strip_sentence(found: Sequence[float], left: Sequence[float], limits: Limits) -> str:
    """What the strip shows, for those who do not see it.

    >>> strip_sentence([-0.62, -0.3], [0.04], Limits.of(0.5))
    'as found −0.62 to −0.30, worst −0.62; as left +0.04 % of span; tolerance ±0.50; 1 of 2 as \
found outside'
    >>> strip_sentence([0.1], [0.1], Limits.of(0.5))
    'as found +0.10 % of span, not adjusted; tolerance ±0.50'
    """
    is_same = bool(found) and list(found) == list(left)
    groups = [("as found", found), ("as left", [] if is_same else left)]
    groups = [(word, errors) for word, errors in groups if errors]
    ranges = "; ".join(f"{word} {_extent(errors, limits)}" for word, errors in groups)
    beside = ", not adjusted" if is_same else ""
    tolerance = limits_text(limits).removesuffix(with_unit("", "%"))
    text = f"{ranges} % of span{beside}; tolerance {tolerance}"
    for word, errors in groups:
        outside = sum(not limits.holds(error) for error in errors)
        if outside:
            text += f"; {outside} of {len(errors)} {word} outside"
    return text


def _extent(errors: Sequence[float], limits: Limits) -> str:
    low, high = (percent(end, limits.size) for end in (min(errors), max(errors)))
    if low == high:
        return low
    return f"{low} to {high}, worst {low if limits.furthest(errors) == min(errors) else high}"


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


# ---- a day on which a limit is met: its flag is filled once it has passed ----
FLAG = '<svg viewBox="0 0 16 16" aria-hidden="true"><path d="M3 15V1l10 4 -10 4"/></svg>'


@register.simple_tag
def limit_day(on: dt.date | None, today: dt.date, tested_on: dt.date | None = None) -> SafeString:
    """``{% limit_day trend.crossing_on today %}``: the first day on which the 95 % band of the next
    as found meets the tolerance. A day that has passed has another word, shape and colour.

    tested_on: of the last result; the band may meet the tolerance from there on.
    """
    if on is None:
        return SafeString('<span class="soft">no limit day within 10 years</span>')
    if tested_on is not None and on <= tested_on:
        return _with_flag("could be out already", is_past=True)
    word = "limit passed" if on < today else "limit"
    return _with_flag(f"{word} {day_text(on)}", is_past=on < today)


@register.simple_tag
def flagged(text: str, is_past: bool) -> SafeString:
    """``{% flagged row.note row.is_past %}``: words that say of a day that it has passed or comes,
    with its flag.
    """
    return _with_flag(conditional_escape(text), is_past=is_past)


def _with_flag(text: str, *, is_past: bool) -> SafeString:
    return SafeString(f'<span class="limit{" past" if is_past else ""}">{FLAG}{text}</span>')


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
