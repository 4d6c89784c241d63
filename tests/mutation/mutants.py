"""All mutants of a module, each with its place and the lines that must run for it to matter.

Left out by rule, because no test could or should notice: annotations, ``__all__``, blocks under
TYPE_CHECKING, logging, the stars of signatures, decorators without which a module does not load;
and what gives the same program or none.
"""

from __future__ import annotations

import ast
import difflib
import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import parso
from cosmic_ray.mutating import mutate_code

from tests.mutation.operators import NAMES, operator_named
from tests.mutation.scope import ROOT, modules

STATEMENT = {"simple_stmt", "suite", "file_input", "decorated", "decorator"}
COMPOUND = {"if_stmt", "while_stmt", "for_stmt", "with_stmt", "try_stmt", "funcdef", "classdef"}
LOGS = {"log", "logger", "logging"}
STRUCTURAL = ("dataclass", "property", "classmethod", "staticmethod", "overload")


@dataclass(frozen=True)
class Mutant:
    path: str
    operator: str
    occurrence: int
    line: int
    first: int  # the lines of the statement it stands in
    last: int
    function: str  # the outermost function whose body it is in; empty where it is run at import
    defined: tuple[str, ...]  # what a statement run at import gives a name to

    def code(self) -> str:
        """The whole module's source, changed."""
        return mutate_code(source(self.path), operator_named(self.operator), self.occurrence)

    def diff(self) -> str:
        old, new = source(self.path).splitlines(), self.code().splitlines()
        lines = difflib.unified_diff(old, new, lineterm="", n=0)
        return "\n".join(line for line in lines if not line.startswith(("---", "+++", "@@")))


def source(path: str) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


def mutants_of(path: str) -> Iterator[Mutant]:
    """All places in a module where an operator can work; a few give the same program or none."""
    operators = {name: operator_named(name) for name in NAMES}
    seen = dict.fromkeys(NAMES, 0)
    for node in _nodes(parso.parse(source(path))):
        for name, operator in operators.items():
            for start, _ in operator.mutation_positions(node):
                leaf = node.get_leaf_for_position(start) if hasattr(node, "children") else node
                if matters(leaf):
                    yield _placed(path, name, seen[name], leaf)
                seen[name] += 1


def _nodes(node) -> Iterator:
    yield node
    for child in getattr(node, "children", ()):
        yield from _nodes(child)


def is_another_program(mutant: Mutant) -> bool:
    try:
        return ast.dump(ast.parse(mutant.code())) != ast.dump(ast.parse(source(mutant.path)))
    except (SyntaxError, IndexError, AttributeError):
        return False


def _placed(path: str, operator: str, occurrence: int, leaf) -> Mutant:
    first, last = _statement(leaf)
    function = _function(leaf)
    defined = () if function else tuple(_defined(leaf))
    return Mutant(path, operator, occurrence, leaf.start_pos[0], first, last, function, defined)


def _above(node) -> Iterator[tuple]:
    """Pairs of a node and its parent, from here to the module."""
    while node.parent is not None:
        yield node, node.parent
        node = node.parent


def matters(leaf) -> bool:
    return not any(_is_left_out(child, parent) for child, parent in _above(leaf))


# By the kind of a parent: whether what stands in this child of it is left out.
LEFT_OUT = {
    "parameters": lambda child, parent: child.type == "operator",
    "tfpdef": lambda child, parent: child is not parent.children[0],
    "annassign": lambda child, parent: child is parent.children[1],
    "funcdef": lambda child, parent: child is parent.annotation,
    "if_stmt": lambda child, parent: parent.children[1].get_code().strip() == "TYPE_CHECKING",
    "expr_stmt": lambda child, parent: parent.children[0].get_code().strip() == "__all__",
    "atom_expr": lambda child, parent: parent.children[0].get_code().strip() in LOGS,
    "decorator": lambda child, parent: any(word in parent.get_code() for word in STRUCTURAL),
}


def _is_left_out(child, parent) -> bool:
    rule = LEFT_OUT.get(parent.type)
    return rule is not None and rule(child, parent)


def _statement(leaf) -> tuple[int, int]:
    """The lines of the simple statement, or of the head of a compound one."""
    for child, parent in _above(leaf):
        if parent.type in STATEMENT | COMPOUND:
            return child.start_pos[0], child.end_pos[0]
    return leaf.start_pos[0], leaf.end_pos[0]


def _function(leaf) -> str:
    """The qualified name of the outermost function with the leaf in its body."""
    names: list[str] = []
    inside = False
    for child, parent in _above(leaf):
        if parent.type not in ("funcdef", "classdef") or child is not parent.children[-1]:
            continue
        if parent.type == "funcdef":
            names, inside = [], True
        names.insert(0, parent.name.value)
    return ".".join(names) if inside else ""


def _defined(leaf) -> Iterator[str]:
    """Names that the statement around a leaf gives at import: of values, functions, classes."""
    for _, parent in _above(leaf):
        if parent.type == "expr_stmt":
            yield from (name.value for name in parent.get_defined_names())
        elif parent.type in ("funcdef", "classdef"):
            yield parent.name.value
            return
        elif parent.type == "decorated":
            inner = parent.children[-1]
            inner = inner.children[-1] if inner.type == "async_funcdef" else inner
            yield inner.name.value
            return


def sample(size: int, seed: int) -> list[tuple[str, Mutant]]:
    """Mutants with their group, spread over the modules by how many each has; at least one each."""
    everything = {path: list(mutants_of(path)) for path in modules()}
    total = sum(map(len, everything.values()))
    chosen = []
    for path, group in modules().items():
        share = max(1, round(size * len(everything[path]) / total))
        drawn = _drawn(everything[path], share, random.Random(f"{seed} {path}"))  # noqa: S311
        chosen += [(group, mutant) for mutant in drawn]
    return chosen


def _drawn(mutants: list[Mutant], share: int, chance: random.Random) -> list[Mutant]:
    chance.shuffle(mutants)
    programs = islice(filter(is_another_program, mutants), share)
    return sorted(programs, key=lambda mutant: (mutant.line, mutant.operator))
