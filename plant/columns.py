"""What a row of the register is made of, described once: from this follow forms, files and pages.

An attribute stands beside its subject (plant.transmitters.columns, plant.points.columns) and names
what each place needs of it: its heading in files, its label and unit in forms, its line on the
page. What the model says already (digits, choices, length, default) is taken from the model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import models

from plant import parsers
from plant.cells import digits
from plant.parsers import Parser

LONGEST_TEXT = 2000


@dataclass(frozen=True)
class Column:
    """One column of a kind of file.

    field: under which its values are kept. units: accepted in brackets, the usual one first; where
    there are several, the unit is kept under ``<field>_unit``, and columns of one name in different
    units may stand side by side, one of them filled a row. is_name: other rows refer to it, so a
    lost leading zero matters. examples: its cells in the rows that show how a file is filled in.
    """

    name: str
    field: str
    parse: Parser
    required: bool = False
    units: tuple[str, ...] = ()
    is_name: bool = False
    examples: tuple[str, ...] = ()

    @property
    def heading(self) -> str:
        return f"{self.name} ({self.units[0]})" if self.units else self.name

    @property
    def keeps_unit(self) -> bool:
        return len(self.units) > 1


def text_of(value: Any) -> str:
    """A value as a page lists it, where its attribute says nothing else."""
    return digits(value) if isinstance(value, Decimal) else str(value)


@dataclass(frozen=True)
class Attribute:
    """One attribute of a row; ``field`` is the model's.

    heading: of its column in files; "" where no file has it. required: every row of a file needs
    it. above, least, most: bounds of a number. parse: in place of what follows from the model.
    units: accepted in brackets in files. label, unit: in forms, where they are not the model's name
    and the only one of ``units``. usual: SQL for a new row of a file that leaves it empty, where it
    is not the model's default. group: of the form's fields. judges: results are judged by it, so
    that its change needs a reason.
    line: the heading under which the page lists it; attributes of one line stand side by side,
    ``before`` between. show: its text there; empty, ``when_empty``. monospace: read sign by sign.
    """

    field: str
    heading: str = ""
    required: bool = False
    above: int | None = None
    least: int | None = None
    most: int | None = None
    parse: Parser | None = None
    units: tuple[str, ...] = ()
    is_name: bool = False
    examples: tuple[str, ...] = ()
    label: str = ""
    unit: str = ""
    usual: str | None = None
    group: str = ""
    judges: bool = False
    line: str = ""
    before: str = ", "
    show: Callable[[Any], str] = text_of
    when_empty: str = ""
    monospace: bool = False


class Line(NamedTuple):
    """A line of a page's list: what it is, and its text."""

    heading: str
    text: str
    monospace: bool


class Attributes:
    """The attributes of one model, in the order of its form and its file."""

    def __init__(self, model: type[models.Model], *attributes: Attribute) -> None:
        self.model = model
        self.by_field = {attribute.field: attribute for attribute in attributes}

    def __iter__(self) -> Any:
        return iter(self.by_field.values())

    @property
    def fields(self) -> tuple[str, ...]:
        """The model's fields that are described: what a form shows and an act stores."""
        return tuple(self.by_field)

    def field(self, name: str) -> models.Field:
        return self.model._meta.get_field(name)  # type: ignore[return-value]

    def group(self, title: str) -> tuple[str, ...]:
        return tuple(each.field for each in self if each.group == title)

    # ---- files ----
    def columns(self, *, but: tuple[str, ...] = ()) -> tuple[Column, ...]:
        """The columns of its file, less the fields ``but``."""
        return tuple(self._column(one) for one in self if one.heading and one.field not in but)

    def column(self, name: str) -> Column:
        return self._column(self.by_field[name])

    def _column(self, one: Attribute) -> Column:
        return Column(
            one.heading,
            one.field,
            one.parse or self._parser(one),
            one.required,
            one.units,
            one.is_name,
            one.examples,
        )

    def _parser(self, one: Attribute) -> Parser:
        field = self.field(one.field)
        if field.choices:
            return parsers.word(value for value, _ in field.flatchoices)
        if isinstance(field, models.DecimalField):
            return parsers.decimal(
                field.max_digits - field.decimal_places,
                field.decimal_places,
                above=one.above,
                least=one.least,
                most=one.most,
            )
        if isinstance(field, models.IntegerField):
            return parsers.whole(one.least or 0, one.most or 2**15)
        if isinstance(field, models.BooleanField):
            return parsers.yes_no
        if isinstance(field, models.DateField):
            return parsers.day
        if isinstance(field, models.TextField):
            return parsers.text(LONGEST_TEXT)
        return parsers.name(field.max_length or LONGEST_TEXT)

    # ---- SQL ----
    def sql_types(self) -> dict[str, str]:
        """The types under which a file's cells are staged, by field."""
        return {one.field: _sql_type(self.field(one.field)) for one in self if one.heading}

    def usual(self, name: str) -> str:
        """SQL for a new row's value where the file says nothing."""
        usual = self.by_field[name].usual
        return _sql_default(self.field(name)) if usual is None else usual

    # ---- forms ----
    def unit(self, name: str) -> str:
        """The unit that stands beside a control; its label then goes without."""
        one = self.by_field[name]
        is_plain = len(one.units) == 1 and isinstance(self.field(name), models.DecimalField)
        return one.unit or (one.units[0] if is_plain else "")

    def label(self, name: str) -> str:
        label, unit = str(self.field(name).verbose_name), self.unit(name)
        return self.by_field[name].label or label.removesuffix(f", {unit}")

    # ---- pages ----
    def lines(self, row: models.Model) -> list[Line]:
        """What the page of ``row`` lists; a line without any value is left out."""
        lines: dict[str, Line] = {}
        for one in self:
            text = self._text(one, row)
            if not one.line or not text:
                continue
            earlier = lines.get(one.line)
            if earlier:
                text = f"{earlier.text}{one.before}{text}"
            lines[one.line] = Line(one.line, text, one.monospace)
        return list(lines.values())

    def _text(self, one: Attribute, row: models.Model) -> str:
        value = getattr(row, one.field)
        if value in (None, ""):
            return one.when_empty
        choices = dict(self.field(one.field).flatchoices)
        return str(choices[value]) if value in choices else one.show(value)


def _sql_type(field: models.Field) -> str:
    if isinstance(field, models.DecimalField):
        return f"numeric({field.max_digits},{field.decimal_places})"
    if isinstance(field, models.IntegerField):
        return "int"
    if isinstance(field, models.BooleanField):
        return "boolean"
    return "date" if isinstance(field, models.DateField) else "text"


def _sql_default(field: models.Field) -> str:
    """The model's default as an SQL literal; a percent sign is doubled for the database driver."""
    value = field.get_default()
    if value is None or (value == "" and not field.blank):
        return "NULL"
    if isinstance(value, str):
        return "'{}'".format(str(value).replace("'", "''").replace("%", "%%"))
    return str(value)
