"""Every test says what must hold: by an assertion of its own, or by a check that the tests
share.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).parent
OF_THE_LIBRARIES = re.compile(r"raises|warns|expect|django_assert_\w+")
OF_OURS = re.compile(r"(check|assert)(_\w+)?")


def functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Each function of the tests, with its file."""
    for path in sorted(TESTS.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                yield str(path.relative_to(TESTS)), node


def names_in(node: ast.AST) -> set[str]:
    found = {each.id for each in ast.walk(node) if isinstance(each, ast.Name)}
    return found | {each.attr for each in ast.walk(node) if isinstance(each, ast.Attribute)}


def asserts(function: ast.FunctionDef, checks: set[str]) -> bool:
    if any(isinstance(node, ast.Assert) for node in ast.walk(function)):
        return True
    names = names_in(function)
    return bool(names & checks) or any(OF_THE_LIBRARIES.fullmatch(name) for name in names)


def silent(functions: list[tuple[str, ast.FunctionDef]]) -> list[str]:
    """The tests that assert nothing. A check counts once it asserts, itself or by another check."""
    checks: set[str] = set()
    ours = [one for _, one in functions if OF_OURS.fullmatch(one.name)]
    while more := {one.name for one in ours if asserts(one, checks)} - checks:
        checks |= more
    tests = [(file, one) for file, one in functions if one.name.startswith("test_")]
    return [f"{file}: {one.name}" for file, one in tests if not asserts(one, checks)]


def test_no_test_asserts_nothing():
    assert silent(list(functions())) == []


def test_a_test_that_only_calls_is_found():
    tree = ast.parse("def check(): look()\ndef test_it(): check()\ndef test_too(): assert check()")
    assert silent([("a.py", node) for node in tree.body]) == ["a.py: test_it"]
