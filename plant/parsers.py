"""One cell's text to its value, or the reason why not. Each kind of value is a function; people
read what it raises.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from plant.cells import unshielded

Parser = Callable[[str], Any]

# Text that is right whatever it is for: most names are such.
_ORDINARY = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._/&-]*[A-Za-z0-9])?")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_COMMA = re.compile(r"([+-]?\d+),(\d+)", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_BROKEN_CELL = re.compile(r"#(?:REF!|N/A|DIV/0!|VALUE!|NAME\?|NUM!|NULL!)")
FIRST_DAY, LAST_DAY = dt.date(1950, 1, 1), dt.date(2149, 12, 31)
NOISE = Decimal("1e-9")
"""A spreadsheet's sums end in ...0000000004; that much is no digit somebody typed."""


class Wrong(ValueError):
    """The cell cannot be taken; the message is the reason shown beside row and column."""


def text(longest: int) -> Parser:
    """Free text of up to ``longest`` characters."""

    def parse(cell: str) -> str:
        if len(cell) <= longest and _ORDINARY.fullmatch(cell):
            return cell
        # An export shields what a spreadsheet would take for a formula; the shield is no part of
        # the text.
        value = unshielded(cell)
        if _CONTROL.search(value):
            raise Wrong("holds a control character that cannot be shown; type it again")
        if _BROKEN_CELL.fullmatch(value):
            raise Wrong("is a formula's error, not a value; correct the formula or type the value")
        if len(value) > longest:
            raise Wrong(f"has {len(value)} characters; at most {longest} are kept")
        return value

    return parse


def name(longest: int) -> Parser:
    """A name other rows refer to: one line of text that is no formula."""
    plain = text(longest)

    def parse(cell: str) -> str:
        if len(cell) <= longest and _ORDINARY.fullmatch(cell):
            return cell
        if cell[0] in "=@":
            raise Wrong("looks like a formula; write its value")
        if "\n" in cell or "\r" in cell:
            raise Wrong("holds a line break; a name is a single line")
        return plain(cell)

    return parse


def decimal(
    whole: int,
    places: int,
    *,
    above: int | None = None,
    least: int | None = None,
    most: int | None = None,
) -> Parser:
    """A number of at most ``whole`` digits before the point and ``places`` after it, within
    bounds.
    """

    def parse(cell: str) -> Decimal:
        value = kept(number(cell), places)
        if abs(value) >= 10**whole:
            raise Wrong(f"is too large; fewer than {whole + 1} digits before the point")
        if above is not None and value <= above:
            raise Wrong(f"must be above {above}" if above else "must be above zero")
        if least is not None and value < least:
            raise Wrong(f"must be {least} or more" if least else "must not be negative")
        if most is not None and value > most:
            raise Wrong(f"must be {most} or less")
        return value

    return parse


def number(cell: str) -> Decimal:
    """
    >>> number("−0.12")
    Decimal('-0.12')
    """
    cell = cell.replace("−", "-")
    if _NUMBER.fullmatch(cell):
        return Decimal(cell)
    comma = _COMMA.fullmatch(cell)
    if comma:
        raise Wrong(f"has a decimal comma; write {comma[1]}.{comma[2]} with a point")
    if "," in cell and _NUMBER.fullmatch(cell.replace(",", "")):
        raise Wrong(f"has separators between thousands; write {cell.replace(',', '')}")
    if _NOT_FINITE.fullmatch(cell):
        raise Wrong("is no finite number; leave the cell empty if it is not known")
    raise Wrong("is not a number; write digits with a decimal point, such as 0.5")


def kept(value: Decimal, places: int) -> Decimal:
    """``value`` with at most ``places`` decimals; a spreadsheet's rounding noise is taken off, more
    is refused.
    """
    exponent = value.as_tuple().exponent
    if value.adjusted() > 20 or not isinstance(exponent, int):
        raise Wrong("is too large")
    if exponent >= 0:
        return Decimal(int(value))
    if -exponent <= places:
        return value
    rounded = round(value, places)
    if abs(value - rounded) > NOISE * max(Decimal(1), abs(value)):
        raise Wrong(f"has more than {places} decimals; round it to what was measured")
    return rounded


def whole(least: int, most: int) -> Parser:
    def parse(cell: str) -> int:
        value = number(cell)
        if value != value.to_integral_value():
            raise Wrong("must be a whole number")
        if not least <= value <= most:
            raise Wrong(f"must be {least} to {most}")
        return int(value)

    return parse


def day(cell: str) -> dt.date:
    """A calendar day as YYYY-MM-DD; a workbook's date cells come so."""
    try:
        if not _DAY.fullmatch(cell):
            raise ValueError
        value = dt.date.fromisoformat(cell)
    except ValueError:
        raise Wrong("is no day; write year-month-day, such as 2026-05-12") from None
    if not FIRST_DAY <= value <= LAST_DAY:
        raise Wrong(f"lies outside {FIRST_DAY.year} to {LAST_DAY.year}")
    return value


def yes_no(cell: str) -> bool:
    value = {"yes": True, "no": False, "true": True, "false": False}.get(cell.casefold())
    if value is None:
        raise Wrong("is not known here; write yes or no")
    return value


@dataclass(frozen=True)
class OneOf:
    """One of some words, in any case; dashes and spaces inside may differ (4–20 mA is 4-20mA)."""

    words: tuple[str, ...]

    def __call__(self, cell: str) -> str:
        wanted = _loose(cell)
        for each in self.words:
            if _loose(each) == wanted:
                return each
        raise Wrong(f"is not known here; write {one_of(self.words)}")


def word(accepted: Iterable[str]) -> OneOf:
    return OneOf(tuple(accepted))


@dataclass(frozen=True)
class SomeOf:
    """Some of these words, separated by semicolons; each once."""

    words: tuple[str, ...]

    def __call__(self, cell: str) -> tuple[str, ...]:
        parts = (part.strip() for part in cell.split(";"))
        return tuple(dict.fromkeys(OneOf(self.words)(part) for part in parts if part))


def words(accepted: Iterable[str]) -> SomeOf:
    return SomeOf(tuple(accepted))


def names(longest: int) -> Parser:
    """Names separated by semicolons; each once."""
    parse_one = name(longest)

    def parse(cell: str) -> tuple[str, ...]:
        parts = [part.strip() for part in cell.split(";") if part.strip()]
        return tuple(dict.fromkeys(parse_one(part) for part in parts))

    return parse


def strapping(cell: str) -> tuple[tuple[Decimal, Decimal], ...]:
    """A strapping table in one cell, height:volume pairs.

    >>> strapping("0:0; 0.5:12.3")[1]
    (Decimal('0.5'), Decimal('12.3'))
    """
    pairs = []
    for part in filter(None, (part.strip() for part in cell.split(";"))):
        height, colon, volume = part.partition(":")
        if not colon:
            raise Wrong(
                f"“{part[:20]}” is no pair; write height:volume pairs such as 0:0; 0.5:12.3"
            )
        pairs.append((_strapped(part, height), _strapped(part, volume)))
    return tuple(pairs)


def _strapped(part: str, figure: str) -> Decimal:
    try:
        return decimal(7, 5, least=0)(figure.strip())
    except Wrong as wrong:
        raise Wrong(f"in “{part[:20]}” {figure.strip()[:20]} {wrong}") from wrong


def one_of(words: Iterable[str]) -> str:
    """
    >>> one_of(["mm", "cm", "m"])
    'mm, cm or m'
    """
    *others, last = words
    return f"{', '.join(others)} or {last}" if others else last


def nearest(value: str, known: Iterable[str]) -> str:
    """ " Did you mean …?" where some known name is close, else nothing."""
    close = difflib.get_close_matches(value, list(known), 1, 0.7)
    return f"; did you mean “{close[0]}”?" if close else ""


def _loose(words: str) -> str:
    return re.sub(r"[\s_\-–]+", "", words.casefold().replace("³", "3"))
