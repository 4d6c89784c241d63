"""What the acts share: check a row, refuse an outdated form, store only what a form may change."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeVar

from django.apps import apps
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, models, transaction

from plant.cells import digits
from plant.parsers import FIRST_DAY, LAST_DAY
from plant.refusals import Refused, RuleBroken

Row = TypeVar("Row", bound=models.Model)

# The form field beside which the message of a rule belongs.
FIELD_OF_RULE = {
    "tag_unique_in_its_site": "tag",
    "range_values_differ": "upper",
    "range_inside_tank": "upper",
    "tolerance_above_zero": "tolerance",
    "adjust_limit_within_tolerance": "adjust_limit",
    "tolerance_downward_above_zero": "tolerance_down",
    "one_sided_tolerance_has_one_limit": "tolerance_down",
    "unit_fits_the_quantity": "unit",
    "volume_tolerance_not_in_mm": "tolerance_unit",
    "tolerance_in_ma_needs_a_current": "tolerance_unit",
    "interval_between_1_and_120_months": "interval_months",
    "tank_name_unique_in_its_site": "name",
    "area_name_unique_in_its_site": "name",
    "product_name_unique_in_its_site": "name",
    "working_levels_in_order": "highest_level",
    "permittivity_at_least_one": "permittivity",
    "density_above_zero": "density",
    "serial_unique_per_maker_and_site": "serial",
    "probe_data_above_zero": "probe_length_mm",
    "one_installation_per_point_at_a_time": "on",
    "one_point_per_transmitter_at_a_time": "transmitter",
    "one_present_installation_per_point": "on",
    "one_present_point_per_transmitter": "transmitter",
    "removed_after_installed": "on",
    "one_appointment_per_person_site_and_role": "role",
    "appointment_ends_after_it_starts": "ends_on",
}


class Stale(Refused):
    """Somebody else changed the row after the form was opened; ``stored`` is the row as it is
    now.
    """

    def __init__(self, stored: models.Model) -> None:
        super().__init__(
            f"{stored} was changed by somebody else after you opened this form. Both versions are "
            "shown below; what you typed is still in the form. Save again to put yours in place of "
            "theirs."
        )
        self.stored = stored


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a row: the form's ``field`` ("" where it belongs to none), and the name
    of the model's ``rule`` ("" for what a field itself refuses).
    """

    field: str
    message: str
    rule: str = ""


def problems(row: models.Model, *, ignoring: Collection[str] = ()) -> list[Problem]:
    """Everything that is wrong with ``row``.

    Rules of fields first, then the model's constraints, whose messages are put beside the field
    they are about. ``ignoring`` names fields that are known to be wrong already.
    """
    wrong = _problems_of_fields(row, set(ignoring))
    fields = {problem.field for problem in wrong}
    excluded = {*ignoring, *fields}
    for constraint in row._meta.constraints:
        field = FIELD_OF_RULE.get(constraint.name, "")
        if field and field in fields:
            continue
        try:
            constraint.validate(type(row), row, exclude=excluded)
        except ValidationError as error:
            wrong += [Problem(field, message, constraint.name) for message in error.messages]
            # What is wrong by itself would break the rules it shares with others, too.
            excluded.add(field)
            fields.add(field)
    return wrong


def _problems_of_fields(row: models.Model, exclude: set[str]) -> list[Problem]:
    try:
        row.clean_fields(exclude=exclude)
        row.clean()
        row.validate_unique(exclude=exclude)
    except ValidationError as error:
        return [
            Problem("" if name == NON_FIELD_ERRORS else name, message)
            for name, messages in error.message_dict.items()
            for message in messages
        ]
    return []


def check(row: models.Model) -> None:
    """Refuse a row that breaks a rule, with all that is wrong with its first field."""
    if wrong := problems(row):
        first = wrong[0]
        texts = [each.message for each in wrong if each.field == first.field]
        raise RuleBroken(" ".join(texts), rule=first.rule, field=first.field or None)


@contextmanager
def constraint_messages(*, savepoint: bool = True) -> Iterator[None]:
    """Turn what the database refuses, such as the later of two writers at once, into a refusal with
    the message of its constraint.

    Without a savepoint (two statements fewer) the refusal must leave the whole transaction.
    """
    try:
        with transaction.atomic(savepoint=savepoint):
            yield
    except IntegrityError as error:
        name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", "") or ""
        text = str(error).splitlines()[0] if name == "range_inside_tank" else _message_of(name)
        if not text:
            raise
        raise RuleBroken(text, rule=name, field=FIELD_OF_RULE.get(name)) from error


OUT_OF_TIME = f"A day lies outside {FIRST_DAY.year} to {LAST_DAY.year}; check what you typed."


def _message_of(rule: str) -> str:
    if rule.endswith(("_on_check", "_until_check", "_from_check", "_day_check")):
        return OUT_OF_TIME
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if constraint.name == rule:
                return str(constraint.get_violation_error_message())
    return ""


def mark_of(row: models.Model, fields: Collection[str], *more: Any) -> str:
    """A short mark of what ``fields`` (and ``more``) hold; a form carries it and sends it back when
    saved.
    """
    kept: list[Any] = [row._meta.get_field(name) for name in sorted(fields)]
    held = [(field.name, as_text(field.value_from_object(row))) for field in kept]
    return hashlib.sha256(repr((held, more)).encode()).hexdigest()[:24]


def as_text(value: Any) -> str:
    """A value as the ledger and a form's mark write it: 8.3 and 8.30000 are one number."""
    if value is None:
        return ""
    return digits(value) if isinstance(value, Decimal) else str(value)


def locked(row: Row, *, seen: str, fields: Collection[str]) -> Row:
    """The row as stored, locked until the end of the transaction. Raises Stale when it is not as
    ``seen``.
    """
    manager: Any = type(row)._default_manager
    stored: Row = manager.select_for_update(of=("self",)).get(pk=row.pk)
    if seen != mark_of(stored, fields):
        raise Stale(stored)
    return stored


def put(row: Row, onto: Row, fields: Collection[str]) -> dict[str, list[str]]:
    """Copy ``fields`` of ``row`` onto the stored row; returns what changed as the ledger shows it:
    [was, is].
    """
    changed = {}
    for name in fields:
        field: Any = row._meta.get_field(name)
        if field.value_from_object(row) != field.value_from_object(onto):
            changed[str(field.verbose_name)] = [shown(onto, name), shown(row, name)]
        setattr(onto, name, getattr(row, name))
    return changed


def shown(row: models.Model, name: str) -> str:
    """A field's value as a person reads it."""
    display = getattr(row, f"get_{name}_display", None)
    return as_text(display() if display else getattr(row, name))
