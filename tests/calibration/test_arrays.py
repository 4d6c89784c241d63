"""Columns of numbers sent in PostgreSQL's own binary form arrive as they are."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration.arrays import BigInts, Days, Floats, Ints, execute, literal

NAN = float("nan")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("sent", "arrives"),
    [
        (Floats.of([1.5, NAN, -2e300, 0.1]), [1.5, None, -2e300, 0.1]),
        (Floats.of([float("inf")]), [float("inf")]),
        (BigInts.of([2**62, -1]), [2**62, -1]),
        (Ints.of([1.0, NAN, 3.0]), [1, None, 3]),
        (Days.of([0.0, NAN, -1.0]), [dt.date(2000, 1, 1), None, dt.date(1999, 12, 31)]),
        (Ints.of([]), []),
        (Floats.of([NAN, NAN]), [None, None]),
    ],
)
def test_what_is_packed_arrives_digit_by_digit(sent, arrives):
    with connection.cursor() as cursor:
        execute(cursor, "SELECT %s", [sent])
        assert cursor.fetchone()[0] == arrives
    with CaptureQueriesContext(connection), connection.cursor() as cursor:
        execute(cursor, "SELECT %s", [sent])  # the log of queries writes it into the statement
        assert cursor.fetchone()[0] == arrives


def test_a_word_that_would_need_quoting_is_refused():
    assert literal([1, None, "drift", ""]) == '{1,NULL,drift,""}'
    for word in ("a b", "a,b", "{", "\\"):
        with pytest.raises(ValueError, match="plain words"):
            literal([word])
