"""Columns for the database in the form in which PostgreSQL itself sends or writes an array: ten to
fifty times as fast as value by value."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, Self
from weakref import WeakSet

import numpy as np
from numpy.typing import ArrayLike
from psycopg.adapt import Dumper
from psycopg.pq import Format


# ---- rows that the server packs ----
class Cell(NamedTuple):
    """One column of a packed row: its name, its kind in NumPy, and the SQL that gives it."""

    name: str
    kind: str
    sql: str


SEND = {"f4": "float4send", "i4": "int4send", "i8": "int8send", "f8": "float8send"}


def row_type(cells: Sequence[Cell]) -> np.dtype:
    """How NumPy reads the bytes that ``row_sql`` of the same cells makes."""
    return np.dtype([(cell.name, f">{cell.kind}") for cell in cells])


def row_sql(cells: Sequence[Cell]) -> str:
    """SQL that packs a row into bytes: a million of them come over in a few messages."""
    return " || ".join(f"{SEND[cell.kind]}({cell.sql})" for cell in cells)


# ---- columns as bytes ----
@dataclass(frozen=True)
class Packed:
    """A column of numbers. By subclass: what one is in NumPy, and the numbers of element and array
    in PostgreSQL.
    """

    values: np.ndarray
    missing: np.ndarray
    dtype: ClassVar[str]
    element: ClassVar[int]
    array: ClassVar[int]

    @classmethod
    def of(cls, values: ArrayLike) -> Self:
        """NaN stands for no value."""
        column = np.asarray(values)
        missing = np.isnan(column) if column.dtype.kind == "f" else np.zeros(len(column), bool)
        return cls(np.where(missing, 0, column).astype(cls.dtype), missing)

    def as_bytes(self) -> bytes:
        cells = np.empty(len(self.values), dtype=[("size", ">i4"), ("value", self.dtype)])
        width = cells.dtype.itemsize
        cells["size"] = np.where(self.missing, -1, width - 4)
        cells["value"] = self.values
        body = cells.view(np.uint8).reshape(-1, width)
        if self.missing.any():  # of what is missing only the size is sent
            body = body[~self.missing[:, None] | (np.arange(width) < 4)]
        head = [1, self.missing.any(), self.element, len(self.values), 1]
        return np.array(head, dtype=">i4").tobytes() + body.tobytes()


class Ints(Packed):
    dtype, element, array = ">i4", 23, 1007


class BigInts(Packed):
    dtype, element, array = ">i8", 20, 1016


class Floats(Packed):
    dtype, element, array = ">f8", 701, 1022


class Days(Packed):
    """Days counted from 2000-01-01."""

    dtype, element, array = ">i4", 1082, 1182


def _dumpers(kind: type[Packed]) -> tuple[type[Dumper], type[Dumper]]:
    class AsText(Dumper):
        """For the log of queries, which writes values into the statement."""

        def dump(self, obj: Packed) -> bytes:
            pairs = zip(obj.values.tolist(), obj.missing.tolist(), strict=True)
            return literal(None if missing else value for value, missing in pairs).encode()

    class AsBytes(Dumper):
        format = Format.BINARY

        def __init__(self, cls: type, context: Any = None) -> None:
            super().__init__(cls, context)
            # Not on the class, where it would stand for every array of that kind, lists too.
            self.oid = kind.array

        def dump(self, obj: Packed) -> bytes:
            return obj.as_bytes()

    return AsText, AsBytes


_DUMPERS = {kind: _dumpers(kind) for kind in (Ints, BigInts, Floats, Days)}
_KNOWN_LINKS: WeakSet[Any] = WeakSet()


def execute(cursor: Any, statement: str, params: Any) -> None:
    """As cursor.execute, with Packed columns among the parameters; what comes back comes as bytes,
    not as text.
    """
    link = cursor.connection
    if link not in _KNOWN_LINKS:
        # A cursor keeps the adapters of when it was opened.
        for adapters in (link.adapters, cursor.adapters):
            for kind, dumpers in _DUMPERS.items():
                for dumper in dumpers:  # the last one is preferred
                    adapters.register_dumper(kind, dumper)
        _KNOWN_LINKS.add(link)
    cursor.cursor.format = Format.BINARY
    cursor.execute(statement, params)


# ---- as text ----
def literal(values: Iterable[Any]) -> str:
    """Numbers, dates, plain words or None, as PostgreSQL writes an array.

    Raises ValueError for a word with a character that would need quoting: free text goes another
    way.

    >>> literal([1, None, 2.5, "zero"])
    '{1,NULL,2.5,zero}'
    """
    words = ["NULL" if value is None else str(value) for value in values]
    text = "{" + ",".join(word or '""' for word in words) + "}"
    if any(mark in text[1:-1] for mark in "{}\\ ") or text.count(",") != max(len(words) - 1, 0):
        raise ValueError("values: only numbers, days and plain words are written so")
    return text
