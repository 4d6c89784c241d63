"""Makers of test rows and files, ``a_…`` and ``an_…``, have one meaning each."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

TESTS = Path(__file__).parent


def test_no_two_makers_share_a_name():
    trees = (ast.parse(path.read_text(encoding="utf-8")) for path in TESTS.rglob("*.py"))
    names = Counter(
        node.name
        for tree in trees
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and re.match(r"an?_", node.name)
    )
    assert "a_point" in names
    assert [name for name, count in names.items() if count > 1] == []
