"""What a refused file keeps for its page: notes on how it was read, and long values cut short."""

from __future__ import annotations

import pytest

from tests.files import reasons, send
from tests.plant.importing.register_rows import HEADER, rows

pytestmark = pytest.mark.django_db


def test_a_refused_file_still_says_how_it_was_read(tank, planner):
    text = rows(HEADER, "LT-101é,T-999,0.3,8.3,1")
    batch = send(text.encode("cp1252"), by=planner)
    assert batch.state == "refused"
    assert batch.rows_read == 1
    assert "Windows-1252" in batch.report["notes"][0]


def test_a_value_too_long_for_the_page_ends_in_an_ellipsis(tank, planner):
    batch = send(rows(HEADER, f"LT-101A,T-101,0.3,{'9' * 200}x,1"), by=planner)
    shown = [problem.value for problem in batch.problems.all()]
    assert max(map(len, shown)) == 120
    assert any(value.endswith("9…") for value in shown)
    assert reasons(batch)


def test_a_column_s_name_too_long_for_the_page_is_cut_too(tank, planner):
    batch = send(rows(f"{HEADER},{'x' * 200}", "LT-101A,T-101,0.3,8.3,1,7"), by=planner)
    assert batch.state == "refused"
    assert max(len(problem.column) for problem in batch.problems.all()) == 80
