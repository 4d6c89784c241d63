"""Cells of exported files. A text that a spreadsheet would run as a formula gets a leading
apostrophe; numbers stay.
"""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal

Cell = str | int | Decimal | dt.date | None

# With any apostrophes before it, so that taking one off again gives back just what was there.
RISKY = re.compile(r"'*[=+\-@\t\r]")
SHIELDED = re.compile(r"'+[=+\-@\t\r]")


def shielded(text: str) -> str:
    """``text`` as it may stand in a CSV file.

    >>> shielded("=1+1"), shielded("'=1"), shielded("LT-1"), shielded("-12")
    ("'=1+1", "''=1", 'LT-1', "'-12")
    """
    return f"'{text}" if RISKY.match(text) else text


def unshielded(text: str) -> str:
    """The text a shielded cell stands for; any other text as it is.

    >>> unshielded("'=1+1"), unshielded("''=1"), unshielded("'quoted'"), unshielded("-0.12")
    ('=1+1', "'=1", "'quoted'", '-0.12')
    """
    return text[1:] if SHIELDED.match(text) else text


def digits(number: Decimal) -> str:
    """A number without trailing zeros and without an exponent.

    >>> digits(Decimal("8.30000")), digits(Decimal("1E+2")), digits(Decimal("-0.120"))
    ('8.3', '100', '-0.12')
    """
    return f"{number.normalize():f}"


def csv_cell(value: Cell) -> str:
    """One cell of a CSV file: empty, a number, an ISO date or a shielded text."""
    if value is None:
        return ""
    if isinstance(value, Decimal):
        return digits(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    return shielded(value) if isinstance(value, str) else str(value)
