"""What the register's tables share: how they sort, and one template for a row."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import django_tables2 as tables

NUM = {"th": {"class": "num"}}


class ListTable(tables.Table):
    """A page of rows that the database has already sorted; ``SORTS`` says by which columns a
    heading sorts.
    """

    SORTS: dict[str, tuple[str, ...]] = {}
    row_template = ""

    def __init__(self, rows: Sequence[Any], *, sort: str, **more: Any) -> None:
        super().__init__(rows, **more)
        # Only for the headings: the rows of this page stay as they come.
        self._order_by = tables.utils.OrderByTuple((sort,))
        self.prefix = ""

    @classmethod
    def sort_from(cls, asked: str) -> str:
        """The sorting an address asks for, if there is such a one; else the first."""
        return (
            asked
            if asked.lstrip("-") in cls.SORTS and asked.count("-") < 2
            else next(iter(cls.SORTS))
        )

    @classmethod
    def keys(cls, sort: str) -> list[str]:
        sign = "-" if sort.startswith("-") else ""
        return [sign + name for name in cls.SORTS[sort.lstrip("-")]]
