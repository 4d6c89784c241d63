"""Where the demo's files are kept, and how they are moved in time."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo"
_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def weeks_to(as_of: dt.date, *, written_for: dt.date) -> int:
    """Whole weeks from the Monday the files were written for to the last Monday on or before
    ``as_of``.
    """
    return (as_of - written_for).days // 7


def shifted(text: str, *, weeks: int) -> str:
    """The text with every day in it moved by whole weeks; record keys carry their day and move with
    it.

    >>> shifted("LT-101A 2026-10-05, done 2026-10-05", weeks=1)
    'LT-101A 2026-10-12, done 2026-10-12'
    """
    by = dt.timedelta(weeks=weeks)
    return _DAY.sub(lambda found: (dt.date.fromisoformat(found[0]) + by).isoformat(), text)
