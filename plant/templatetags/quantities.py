"""Template filters for numbers, units and days: the text of plant.quantities, marked up where a
page gains by it.
"""

from __future__ import annotations

from datetime import date, datetime, tzinfo
from zoneinfo import ZoneInfo

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from plant.level.tolerance import Limits
from plant.points.tolerance_texts import limits_text
from plant.quantities import (
    NOTHING,
    SIGNAL_DECIMALS,
    Value,
    day_text,
    moment_text,
    number,
    percent,
    plus_minus,
    quantity,
    symbol,
    weekday_text,
    with_unit,
)

register = template.Library()

NO_VALUE = SafeString(
    '<span class="none"><span aria-hidden="true">\u2013</span>'
    '<span class="hide">no value</span></span>'
)


def _shown(text: str) -> str:
    return NO_VALUE if text == NOTHING else text


@register.filter
def ma(value: Value) -> str:
    """``{{ reading.current|ma }}``: loop current, digits only."""
    return _shown(number(value, SIGNAL_DECIMALS["mA"]))


@register.filter
def span(value: Value, tolerance: Value = None) -> str:
    """``{{ error|span:tolerance }}``: an error in % of span, signed, digits only."""
    return _shown(percent(value, tolerance))


@register.filter
def value(value: Value, unit: str) -> str:
    """``{{ level|value:unit }}``: a level, volume or signal, digits only (unit in the heading)."""
    return _shown(quantity(value, unit))


@register.filter
def measure(value: Value, unit: str) -> str:
    """``{{ level|measure:unit }}``: the same with its unit."""
    return _shown(with_unit(quantity(value, unit), unit))


@register.filter
def shift(value: Value, unit: str) -> str:
    """``{{ error|shift:"mA" }}``: a signed difference in that unit, with its unit."""
    return _shown(with_unit(quantity(value, unit, signed=True), unit))


@register.filter
def signed(value: Value, unit: str) -> str:
    """``{{ error|signed:"mA" }}``: the same, digits only (unit in the heading)."""
    return _shown(quantity(value, unit, signed=True))


@register.filter
def fixed(value: Value, decimals: int = 2) -> str:
    """``{{ x|fixed:1 }}``: any other number."""
    return _shown(number(value, decimals))


@register.filter
def limit(value: Value | Limits, unit: str = "%") -> str:
    """``{{ tolerance|limit:"%" }}``: ±0.50 %; of Limits also +5 / −10 mm, or at most +5 mm."""
    if isinstance(value, Limits):
        return limits_text(value, unit)
    return _shown(plus_minus(value, unit))


@register.filter
def unit(name: str) -> str:
    """``{{ "m3"|unit }}``: the printed symbol."""
    return symbol(name)


@register.filter
def day(on: date | None) -> str:
    """``{{ record.done_on|day }}``: 12 May 2026, machine-readable too."""
    if on is None:
        return NO_VALUE
    if isinstance(on, datetime):
        on = timezone.localtime(on).date() if timezone.is_aware(on) else on.date()
    return format_html('<time datetime="{}">{}</time>', on.isoformat(), day_text(on))


@register.filter
def weekday(on: date | None) -> str:
    """``{{ today|weekday }}``: Tuesday 12 May 2026."""
    return NO_VALUE if on is None else weekday_text(on)


@register.filter
def clock(at: datetime | None, zone: str) -> str:
    """``{{ reading.read_at|clock:site.time_zone }}``: 08:12:31 on the clock of that zone."""
    if at is None:
        return NO_VALUE
    local = at.astimezone(ZoneInfo(zone))
    return format_html('<time datetime="{}">{}</time>', at.isoformat(), f"{local:%H:%M:%S}")


@register.filter
def moment(at: datetime | None, zone: tzinfo | str | None = None) -> str:
    """``{{ record.signed_at|moment:site.zone }}``: 12 May 2026 08:12 CEST."""
    if at is None:
        return NO_VALUE
    return format_html('<time datetime="{}">{}</time>', at.isoformat(), moment_text(at, zone))
