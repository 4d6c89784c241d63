"""A mutant in a process that has loaded the original: its code is put under the functions."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from types import CodeType, FunctionType

from tests.mutation.mutants import Mutant
from tests.mutation.scope import ROOT

Place = tuple[str, str, int]


def living_functions() -> dict[Place, list[FunctionType]]:
    """Every function of this process by the file, the qualified name and the line of its code."""
    found: dict[Place, list[FunctionType]] = {}
    for thing in gc.get_objects():
        if type(thing) is FunctionType:  # isinstance would wake objects that are lazy
            found.setdefault(_place(thing.__code__), []).append(thing)
    return found


def swaps(mutant: Mutant, living: dict[Place, list[FunctionType]]) -> list[tuple]:
    """Pairs of a living function and its changed code; none where the function cannot be found."""
    changed = compile(mutant.code(), str(ROOT / mutant.path), "exec", dont_inherit=True)
    return [
        (function, code)
        for code in _outermost(changed)
        if code.co_qualname == mutant.function and code.co_firstlineno <= mutant.line <= _end(code)
        for function in living.get(_place(code), ())
        if len(function.__code__.co_freevars) == len(code.co_freevars)
    ]


def _place(code: CodeType) -> Place:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _outermost(module: CodeType) -> Iterator[CodeType]:
    """The code of all functions of a module and of its classes."""
    for constant in module.co_consts:
        if isinstance(constant, CodeType):
            if constant.co_flags & 0x2:  # CO_NEWLOCALS: a function; the body of a class has none
                yield constant
            else:
                yield from _outermost(constant)


def _end(code: CodeType) -> int:
    """The last line with code, that of inner functions counted."""
    own = [line for _, _, line in code.co_lines() if line]
    inner = [_end(c) for c in code.co_consts if isinstance(c, CodeType)]
    return max(own + inner)
