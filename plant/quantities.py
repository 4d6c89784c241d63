"""Numbers, units and days as people read them: the one place for pages, print and mail.

The functions return plain text (mail, print, refusals, sentences read aloud); the template filters
of the same subject return the same text, marked up where a page gains by it. Nothing is rounded
anywhere else. Rounding is to the even digit, which does not push a long column to one side (ISO
80000-1 annex B rule A, from memory).
"""

from __future__ import annotations

import math
from datetime import date, datetime, tzinfo
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils import timezone

Value = Decimal | float | int | None

MINUS = "\u2212"
SPACE = "\u00a0"  # keeps a value and its unit on one line
NOTHING = "\u2013"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

# Digits after the point: what a dip tape, a gauge glass or a loop meter can honestly show.
# Common practice, no source.
LEVEL_DECIMALS = {"m": 3, "mm": 0, "cm": 1, "in": 2, "ft": 3}
VOLUME_DECIMALS = {"m3": 2, "L": 0}
SIGNAL_DECIMALS = {"mA": 3, "V": 3}
BARELY = 0.0005  # probabilities nearer to 0 or 1 than this are not shown as certain
DECIMALS = LEVEL_DECIMALS | VOLUME_DECIMALS | SIGNAL_DECIMALS
SYMBOLS = {"m3": "m\u00b3", "%": "%", "degC": "\u00b0C"}


def number(value: Value, decimals: int = 2, *, signed: bool = False) -> str:
    """``value`` with a fixed count of digits and a real minus sign; "–" where there is none.

    Text, infinity and not-a-number have no digits to show and give "–" as well.

    >>> number(-0.4125, 2), number(0.3, 2, signed=True), number(-0.001, 2), number(None)
    ('−0.41', '+0.30', '0.00', '–')
    """
    if value is None or isinstance(value, str) or not math.isfinite(value):
        return NOTHING
    text = f"{value:.{decimals}f}"
    if text[0] == "-":
        # A rounded nothing carries no sign: "−0.00" would claim a direction that is not there.
        return MINUS + text[1:] if text.strip("-0.") else text[1:]
    return "+" + text if signed and text.strip("0.") else text


def with_unit(text: str, unit: str) -> str:
    """A formatted number and its unit, kept on one line.

    >>> with_unit("8.400", "m") == "8.400\\u00a0m"
    True
    """
    return text if text == NOTHING else f"{text}{SPACE}{symbol(unit)}"


def symbol(unit: str) -> str:
    """The unit as it is printed: "m3" becomes "m³"."""
    return SYMBOLS.get(unit, unit)


def quantity(value: Value, unit: str, *, signed: bool = False) -> str:
    """A level, volume or signal with the digits its unit deserves, without the unit.

    >>> quantity(4.3, "m"), quantity(4300.2, "mm"), quantity(11.934, "mA"), quantity(146.218, "m3")
    ('4.300', '4300', '11.934', '146.22')
    """
    return number(value, DECIMALS.get(unit, 2), signed=signed)


def percent(value: Value, tolerance: Value = None) -> str:
    """An error in % of span, signed; one digit more where the tolerance is finer than 0.5 %.

    >>> percent(-0.4125), percent(-0.4125, tolerance=0.25)
    ('−0.41', '−0.412')
    """
    return number(value, percent_decimals(tolerance), signed=True)


def percent_of_span(value: Value, tolerance: Value = None) -> str:
    """The same with its unit: "−0.41 % of span"."""
    return f"{with_unit(percent(value, tolerance), '%')} of span"


def percent_decimals(tolerance: Value) -> int:
    """Digits after the point for % of span beside this tolerance."""
    return 3 if tolerance is not None and tolerance < 0.5 else 2


def plus_minus(value: Value, unit: str = "%", decimals: int | None = None) -> str:
    """A tolerance or limit: "±0.50 %".

    >>> plus_minus(0.5) == "±0.50\\u00a0%"
    True
    """
    if decimals is None:
        decimals = percent_decimals(value) if unit == "%" else DECIMALS.get(unit, 2)
    text = number(value, decimals)
    return text if text == NOTHING else with_unit("\u00b1" + text, unit)


def probability_text(probability: float) -> str:
    """A probability in per cent; never as a certainty.

    >>> probability_text(0.952), probability_text(0.99999), probability_text(0.0)
    ('95.2\\xa0%', 'more than 99.9\\xa0%', 'less than 0.1\\xa0%')
    """
    if probability > 1 - BARELY:
        return f"more than 99.9{SPACE}%"
    if probability < BARELY:
        return f"less than 0.1{SPACE}%"
    return f"{number(100 * probability, 1)}{SPACE}%"


def short_probability_text(probability: float) -> str:
    """The same for a column of figures.

    >>> short_probability_text(0.952), short_probability_text(0.99999)
    ('95.2\\xa0%', '> 99.9\\xa0%')
    """
    return probability_text(probability).replace("more than", ">").replace("less than", "<")


def share_text(share: float) -> str:
    """A share that somebody chose, such as a target, with the digits it was given.

    >>> share_text(0.95), share_text(0.995)
    ('95\\xa0%', '99.5\\xa0%')
    """
    return f"{100 * share:.4g}{SPACE}%"


def plural_text(count: int, one: str, more: str = "") -> str:
    """A number of things.

    >>> plural_text(1, "result"), plural_text(2, "result"), plural_text(0, "was", "were")
    ('1 result', '2 results', '0 were')
    """
    return f"{count} {one if count == 1 else more or one + 's'}"


def day_text(on: date | None) -> str:
    """A day in words that no country reads the other way round.

    >>> day_text(date(2026, 5, 12))
    '12 May 2026'
    """
    return NOTHING if on is None else f"{on.day} {MONTHS[on.month - 1]} {on.year}"


def weekday_text(on: date | None) -> str:
    """The same with its weekday: "Tuesday 12 May 2026"."""
    return NOTHING if on is None else f"{WEEKDAYS[on.weekday()]} {day_text(on)}"


def moment_text(at: datetime | None, zone: tzinfo | str | None = None) -> str:
    """A moment on the clock of ``zone`` (the page's own when not given), the zone beside it.

    >>> moment_text(datetime(2026, 5, 12, 4, 0, tzinfo=ZoneInfo("UTC")), "Europe/Lisbon")
    '12 May 2026 05:00 WEST'
    """
    if at is None:
        return NOTHING
    local = at.astimezone(ZoneInfo(zone) if isinstance(zone, str) else zone or _page_zone())
    name = local.tzname() or ""
    # Zones without letters of their own come as "+03": say what that is counted from.
    if not name or name[0] in "+-":
        name = f"UTC{name.replace('-', MINUS)}"
    return f"{day_text(local)} {local:%H:%M} {name}"


def _page_zone() -> tzinfo:
    return timezone.get_current_timezone()
