"""Every rule that we named in the database is broken in the database, where no form looks."""

from __future__ import annotations

import re

import pytest
from django.db import DatabaseError, connection, transaction

from tests.database.calibration_rules import CALIBRATION_RULES
from tests.database.plant_rules import PLANT_RULES
from tests.database.rows import make_rows

pytestmark = pytest.mark.django_db

RULES = PLANT_RULES | CALIBRATION_RULES

# Triggers that refuse under the name of the rule they share.
SHARED_NAMES = [
    (r"range_inside_tank_\w+", "range_inside_tank"),
    (r"\w+_with_record", "parts_come_with_their_record"),
]

# Constraints and unique indexes named by us, and triggers that can refuse. Left out: what Django
# names itself, and keys that hold because the primary key does (what carries the site points at
# them).
NAMED_RULES = r"""
WITH ours AS (
    SELECT oid, relname FROM pg_class WHERE relname ~ '^(plant|calibration)_' AND relkind = 'r')
SELECT conname, format('ALTER TABLE %I DROP CONSTRAINT %I', relname, conname)
FROM pg_constraint JOIN ours ON ours.oid = conrelid
WHERE contype IN ('c', 'f', 'u', 'x')
    AND conname !~ ('^' || relname || '_.*(_check|_key)$')
    AND conname !~ '_[0-9a-f]{8}_(uniq|fk_)'
    AND NOT (contype = 'u' AND conkey @> (
        SELECT conkey FROM pg_constraint k WHERE k.conrelid = ours.oid AND k.contype = 'p'))
UNION
SELECT indexrelid::regclass::text, format('DROP INDEX %s', indexrelid::regclass)
FROM pg_index JOIN ours ON ours.oid = indrelid
WHERE indisunique AND NOT EXISTS (
        SELECT FROM pg_constraint WHERE conindid = indexrelid AND contype IN ('p', 'u', 'x'))
    AND NOT string_to_array(indkey::text, ' ')::int2[] @> (
        SELECT conkey FROM pg_constraint k WHERE k.conrelid = ours.oid AND k.contype = 'p')
UNION
SELECT tgname, format('DROP TRIGGER %I ON %I', tgname, relname)
FROM pg_trigger JOIN ours ON ours.oid = tgrelid JOIN pg_proc ON pg_proc.oid = tgfoid
WHERE NOT tgisinternal AND prosrc LIKE '%RAISE EXCEPTION%'
"""


@pytest.fixture(scope="module")
def named_rules(django_db_setup, django_db_blocker) -> dict[str, str]:
    """Each name in the catalogue, with the statement that drops it; the rows stay for this file."""
    with django_db_blocker.unblock(), transaction.atomic():
        make_rows()
        yield dict(answers(NAMED_RULES))
        transaction.set_rollback(True)


def answers(sql: str) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall()


def refused_by(*statements: str) -> str:
    """The name of the rule that refuses the statements, or nothing; all is taken back."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            for statement in (*statements, "SET CONSTRAINTS ALL IMMEDIATE"):
                cursor.execute(statement)
            transaction.set_rollback(True)
    except DatabaseError as refusal:
        return refusal.__cause__.diag.constraint_name or str(refusal)
    return ""


def test_every_named_rule_of_the_catalogue_is_in_the_table(named_rules):
    assert sorted(named_rules) == sorted(RULES)


@pytest.mark.parametrize("name", RULES)
def test_what_breaks_a_rule_is_refused_in_its_name(named_rules, name):
    says = next((rule for form, rule in SHARED_NAMES if re.fullmatch(form, name)), name)
    assert refused_by(RULES[name]) == says


@pytest.mark.parametrize("name", [name for name in RULES if not name.endswith("_no_truncate")])
def test_what_breaks_a_rule_breaks_no_other(named_rules, name):
    assert refused_by(named_rules[name], RULES[name]) == ""
