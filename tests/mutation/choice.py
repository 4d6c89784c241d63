"""Which tests a mutant is given: those that run its lines.

Of a line that is run at import, those that use the name it gives.
"""

from __future__ import annotations

import ast
from functools import cache

from tests.mutation.covering import PRODUCT, Covering, file_of, is_test, ordered
from tests.mutation.mutants import Mutant, source
from tests.mutation.scope import ROOT, module_name

# Tests are given until they would take this many seconds together, on a quiet machine.
BUDGET = 60.0


def tests_for(mutant: Mutant, covering: Covering) -> list[str]:
    if runs_at_import(mutant, covering):
        found = _users_of(mutant, covering)
    else:
        found = set(covering.tests_of(mutant.path, mutant.first, mutant.last))
    chosen, spent = [], 0.0
    for test in ordered(found, mutant.path, covering):
        spent += covering.seconds.get(test, 0.0)
        if chosen and spent > BUDGET:
            break
        chosen.append(test)
    return chosen


def runs_at_import(mutant: Mutant, covering: Covering) -> bool:
    return not mutant.function or covering.at_import(mutant.path, mutant.first, mutant.last)


def _users_of(mutant: Mutant, covering: Covering) -> set[str]:
    """Tests that run a line of the product with a name that the statement gives.

    Doctests beside it too, and tests that have its full name as their case.
    """
    names = set(mutant.defined) or {mutant.function.rsplit(".", 1)[-1]}
    cases = tuple(f"[{module_name(mutant.path)}.{name}]" for name in names)
    found = {
        test for test in covering.seconds if file_of(test) == mutant.path or test.endswith(cases)
    }
    for name in _given_from(names):
        for path, first, last in _places().get(name, ()):
            found |= set(covering.tests_of(path, first, last))
    return found


def _given_from(names: set[str]) -> set[str]:
    """Names, and names given at import by statements that use them."""
    reached, fresh = set(names), set(names)
    while fresh:
        fresh = {given for given, used in _given() if used & fresh} - reached
        reached |= fresh
    return reached


@cache
def _trees() -> dict[str, ast.Module]:
    paths = [p for folder in PRODUCT for p in sorted((ROOT / folder).rglob("*.py"))]
    names = [path.relative_to(ROOT).as_posix() for path in paths]
    return {n: ast.parse(source(n)) for n in names if "/migrations/" not in n and not is_test(n)}


@cache
def _places() -> dict[str, list[tuple[str, int, int]]]:
    """Where each name stands in a function of the product."""
    places: dict[str, list[tuple[str, int, int]]] = {}
    for path, tree in _trees().items():
        for function in ast.walk(tree):
            if isinstance(function, ast.FunctionDef):
                for name, line in _names(function):
                    places.setdefault(name, []).append((path, line, line))
                places.setdefault(function.name, []).append(_body(path, function))
    return places


def _body(path: str, function: ast.FunctionDef) -> tuple[str, int, int]:
    return path, function.body[0].lineno, function.end_lineno or function.lineno


@cache
def _given() -> tuple[tuple[str, set[str]], ...]:
    """Each name that a module gives by an assignment, with the names used for it."""
    return tuple(
        (target, {name for name, _ in _names(statement)})
        for tree in _trees().values()
        for statement in tree.body
        if isinstance(statement, ast.Assign | ast.AnnAssign)
        for target, _ in _names(statement)
        if target.isupper()
    )


def _names(tree: ast.AST) -> list[tuple[str, int]]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            found.append((node.id, node.lineno))
        elif isinstance(node, ast.Attribute):
            found.append((node.attr, node.end_lineno or node.lineno))
        elif isinstance(node, ast.keyword) and node.arg:
            found.append((node.arg, node.value.lineno))
    return found
