"""What a kind of file holds: its columns. Matches a header to them and turns text into values,
column by column.

A column is parsed by its distinct cells, each once: 100,000 rows of a register have few different
makers or days.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

from plant.columns import Column
from plant.importing.files import Table
from plant.parsers import Wrong, nearest, one_of

HEADER_ROW = 1
_HEADING = re.compile(
    r"\s*(?P<name>[^()\[\]]*?)\s*(?:[(\[]\s*(?P<unit>[^()\[\]]*?)\s*[)\]])?\s*\*?\s*"
)
_BY_HAND = {"degc": "°C", "c": "°C", "litre": "L", "litres": "L", "inch": "in", "feet": "ft"}


class Problem(NamedTuple):
    """One thing wrong: the row as the sender's program numbers it, the column by its heading, the
    cell, the reason.
    """

    row: int
    column: str
    value: str
    reason: str


@dataclass(frozen=True)
class Layout:
    """The columns of one kind of file, and which of them name a row."""

    columns: tuple[Column, ...]
    key: tuple[str, ...]
    repeats: bool = False  # several rows may share the key
    only_shown: tuple[str, ...] = ()  # columns that a file sent out has, and a file read ignores

    @property
    def examples(self) -> list[list[str]]:
        """Rows that show how such a file is filled in: a text for each column."""
        count = max(len(column.examples) for column in self.columns)
        rows = [[*column.examples, *[""] * count] for column in self.columns]
        return [list(row) for row in zip(*rows, strict=False)][:count]

    def ignores(self, heading: str) -> bool:
        return _loose(heading) in map(_loose, self.only_shown)

    def named(self, name: str) -> Column | None:
        wanted = _loose(name)
        return next((column for column in self.columns if _loose(column.name) == wanted), None)

    def of(self, field_name: str) -> Column:
        return next(column for column in self.columns if column.field == field_name)


class Match(NamedTuple):
    """A heading of the file that is understood: its place, the column it stands for, its unit."""

    place: int
    column: Column
    unit: str


@dataclass
class Parsed:
    """The file's values by field, None for an empty or wrong cell, and everything that is wrong so
    far.

    ``warnings`` are worth a look but stand in nobody's way.
    """

    table: Table
    layout: Layout
    matches: list[Match]
    values: dict[str, list[Any]]
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    wrong: set[tuple[int, str]] = field(default_factory=set)
    full: set[str] = field(default_factory=set)  # fields of which every row has its value

    @property
    def rows(self) -> Sequence[int]:
        return self.table.rows

    @property
    def header_is_wrong(self) -> bool:
        return any(problem.row == HEADER_ROW for problem in self.problems)

    def column(self, name: str) -> list[Any]:
        """The values of a field, all None when the file has no such column."""
        return self.values.get(name) or self._nothing

    @cached_property
    def _nothing(self) -> list[None]:
        return [None] * len(self.rows)

    def given(self, *fields: str) -> bool:
        return any(name in self.values for name in fields)

    def refuse(self, place: int, name: str, reason: str) -> None:
        """Note a problem of the row at ``place`` (counted from 0), beside the cell of that
        field.
        """
        if (place, name) in self.wrong:
            return
        self.wrong.add((place, name))
        heading, cell = self.cell(place, name)
        self.problems.append(Problem(self.rows[place], heading, cell, reason))

    def refuse_where(self, name: str, reason: str, wrong: Iterable[bool]) -> None:
        for place, bad in enumerate(wrong):
            if bad:
                self.refuse(place, name, reason)

    def refuse_values(self, name: str, reason: str, is_wrong: Callable[[Any], bool]) -> None:
        """Refuse every row whose value of the field is wrong; asked once of each distinct value."""
        wrong = {value for value in set(self.column(name)) if value is not None and is_wrong(value)}
        if wrong:
            self.refuse_where(name, reason, (value in wrong for value in self.column(name)))

    def cell(self, place: int, name: str) -> tuple[str, str]:
        """Heading and text of a field's cell; of several columns the one that is filled."""
        of_field = [match.place for match in self.matches if match.column.field == name]
        for at in of_field:
            if text := self.table.columns[at][place].strip():
                return self.table.header[at], text
        if of_field:
            return self.table.header[of_field[0]], ""
        known = next((column for column in self.layout.columns if column.field == name), None)
        return (known.heading if known else name), ""

    def sorted_problems(self) -> list[Problem]:
        return sorted(self.problems, key=lambda problem: problem.row)


def read(table: Table, layout: Layout) -> Parsed:
    """Match the header and parse every column; all that is wrong is in ``problems``."""
    matches, header_problems = match_header(table.header, layout)
    parsed = Parsed(table, layout, matches, {}, header_problems)
    for column in layout.columns:
        of_column = [match for match in matches if match.column is column]
        if of_column:
            _take(parsed, column, of_column)
    _refuse_missing(parsed)
    if not layout.repeats:
        _refuse_repeated(parsed)
    return parsed


# ---- the header ----
def match_header(header: Sequence[str], layout: Layout) -> tuple[list[Match], list[Problem]]:
    """Which heading stands for which column; names in any case, a unit in brackets."""
    matches: list[Match] = []
    problems: list[Problem] = []
    for place, heading in enumerate(header):
        try:
            if layout.ignores(heading):
                continue
            match = _match(place, heading, layout)
            _refuse_twice(match, matches)
            matches.append(match)
        except Wrong as wrong:
            where = heading if heading.strip() else f"column {place + 1}"
            problems.append(Problem(HEADER_ROW, where, heading, str(wrong)))
    there = {match.column.name for match in matches}
    misread = {problem.column for problem in problems}
    for column in layout.columns:
        if column.required and column.name not in there and not _tried(column, misread):
            reason = "this column is missing; every row needs it"
            problems.append(Problem(HEADER_ROW, column.heading, "", reason))
    return matches, problems


def _match(place: int, heading: str, layout: Layout) -> Match:
    parts = _HEADING.fullmatch(heading)
    name, unit = (parts["name"], parts["unit"]) if parts else (heading, None)
    if not heading.strip():
        raise Wrong("a column without a heading is between others; give it one or delete it")
    column = layout.named(name)
    if column is None:
        known = [each.heading for each in layout.columns]
        raise Wrong(f"is no column of this kind of file{nearest(heading, known)}")
    return Match(place, column, _unit(column, unit))


def _unit(column: Column, given: str | None) -> str:
    if not column.units:
        if given:
            raise Wrong(f"takes no unit; write “{column.name}”")
        return ""
    if not given:
        if column.keeps_unit:
            raise Wrong(f"needs its unit in brackets: {one_of(column.units)}")
        return column.units[0]
    known = {_loose(unit): unit for unit in column.units}
    unit = known.get(_loose(_BY_HAND.get(given.casefold(), given)))
    if unit is None:
        raise Wrong(f"the unit “{given}” is not accepted here; write {one_of(column.units)}")
    return unit


def _refuse_twice(match: Match, earlier: list[Match]) -> None:
    for other in earlier:
        if other.column is match.column and other.unit == match.unit:
            raise Wrong(
                f"is there twice (columns {other.place + 1} and {match.place + 1}); delete one"
            )


def _tried(column: Column, misread: Collection[str]) -> bool:
    """The header has the column, but misread: one message is enough."""
    parts = [_HEADING.fullmatch(heading) for heading in misread]
    return any(part and _loose(part["name"]) == _loose(column.name) for part in parts)


def _loose(name: str) -> str:
    return re.sub(r"[\s_]+", "", name.casefold().replace("³", "3"))


# ---- the cells ----
def _take(parsed: Parsed, column: Column, matches: list[Match]) -> None:
    """Parse the column (or its columns in several units) into parsed.values."""
    taken = [_parse(parsed, match) for match in matches]
    if len(taken) == 1:
        values = taken[0]
        units: list[Any] = [matches[0].unit] * len(values)
    else:
        parsed.full.discard(column.field)
        values, units = _one_of_each_row(parsed, column, matches, taken)
    parsed.values[column.field] = values
    if column.keeps_unit:
        parsed.values[f"{column.field}_unit"] = units


def _parse(parsed: Parsed, match: Match) -> list[Any]:
    cells, column = parsed.table.columns[match.place], match.column
    if column.is_name:
        _warn_of_numbers(parsed, match)
    known: dict[str, Any] = {}
    reasons: dict[str, str] = {}
    parse = column.parse
    for cell in set(cells):
        text = cell.strip()
        try:
            known[cell] = parse(text) if text else None
        except Wrong as wrong:
            known[cell], reasons[cell] = None, str(wrong)
    if reasons:
        for place, cell in enumerate(cells):
            if cell in reasons:
                _refuse_cell(parsed, match, place, reasons[cell])
    if None not in known.values():
        parsed.full.add(column.field)
    return list(map(known.__getitem__, cells))


def _refuse_cell(parsed: Parsed, match: Match, place: int, reason: str) -> None:
    parsed.wrong.add((place, match.column.field))
    text = parsed.table.columns[match.place][place].strip()
    heading = parsed.table.header[match.place]
    parsed.problems.append(Problem(parsed.rows[place], heading, text, reason))


def _one_of_each_row(
    parsed: Parsed, column: Column, matches: list[Match], taken: list[list[Any]]
) -> tuple[list[Any], list[Any]]:
    values: list[Any] = []
    units: list[Any] = []
    for place, cells in enumerate(zip(*taken, strict=True)):
        filled = [at for at, cell in enumerate(cells) if cell is not None]
        if len(filled) > 1:
            headings = one_of([parsed.table.header[matches[at].place] for at in filled])
            parsed.refuse(place, column.field, f"is filled more than once; leave one of {headings}")
        values.append(cells[filled[0]] if filled else None)
        units.append(matches[filled[0]].unit if filled else None)
    return values, units


def _warn_of_numbers(parsed: Parsed, match: Match) -> None:
    reason = (
        "is stored as a number in the workbook: leading zeros, if it has any, are lost. "
        "Format the column as text and type it again if so."
    )
    cells, heading = parsed.table.columns[match.place], parsed.table.header[match.place]
    parsed.warnings += [
        Problem(parsed.rows[place], heading, cells[place], reason)
        for place in parsed.table.numbers_in(match.place)
    ]


def _refuse_missing(parsed: Parsed) -> None:
    for column in parsed.layout.columns:
        name = column.field
        if column.required and name in parsed.values and name not in parsed.full:
            missing = (value is None for value in parsed.values[name])
            parsed.refuse_where(name, "is missing; every row needs it", missing)


def _refuse_repeated(parsed: Parsed) -> None:
    """A row that names the same thing as an earlier one would silently undo it."""
    if not all(name in parsed.values for name in parsed.layout.key):
        return
    keys = list(zip(*(parsed.values[name] for name in parsed.layout.key), strict=True))
    if len(set(keys)) == len(keys):
        return
    first: dict[tuple, int] = {}
    for place, key in enumerate(keys):
        if None in key:
            continue
        earlier = first.setdefault(key, place)
        if earlier != place:
            reason = f"is in row {parsed.rows[earlier]} already; each may be in a file only once"
            parsed.refuse(place, parsed.layout.key[-1], reason)
