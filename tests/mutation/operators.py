"""What is changed in a line to see whether a test notices: by cosmic-ray and by us.

Of the replacements that cosmic-ray has for one sign, those are taken that still run: a comparison
moves by its boundary or turns round, arithmetic stays arithmetic. One that crashes at once would
only flatter the figure.
"""

from __future__ import annotations

from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator
from parso import parse
from parso.tree import NodeOrLeaf

KINDS = {
    "ReplaceComparisonOperator_": (
        "Lt_LtE",
        "Lt_GtE",
        "LtE_Lt",
        "LtE_Gt",
        "Gt_GtE",
        "Gt_LtE",
        "GtE_Gt",
        "GtE_Lt",
        "Eq_NotEq",
        "NotEq_Eq",
        "Is_IsNot",
        "IsNot_Is",
    ),
    "ReplaceBinaryOperator_": (
        "Add_Sub",
        "Sub_Add",
        "Mul_Div",
        "Div_Mul",
        "FloorDiv_Div",
        "Mod_Mul",
        "Pow_Mul",
        "BitOr_BitAnd",
        "BitAnd_BitOr",
    ),
    "ReplaceUnaryOperator_": ("Delete_USub", "Delete_Not", "Delete_Invert"),
    "": (
        "AddNot",
        "ReplaceTrueWithFalse",
        "ReplaceFalseWithTrue",
        "ReplaceAndWithOr",
        "ReplaceOrWithAnd",
        "ReplaceBreakWithContinue",
        "ReplaceContinueWithBreak",
        "ExceptionReplacer",
        "NumberReplacer",
        "RemoveDecorator",
        "ZeroIterationForLoop",
    ),
}
CORE = tuple(kind + name for kind, names in KINDS.items() for name in names)


class _Ours(Operator):
    @classmethod
    def examples(cls):
        return ()


class RemoveCall(_Ours):
    """A call that stands as a statement is not made: ``record.save()`` → ``pass``."""

    def mutation_positions(self, node):
        if node.type == "atom_expr" and node.parent.type == "simple_stmt" and is_call(node):
            yield node.start_pos, node.end_pos

    def mutate(self, node, index):
        return replaced(node, "pass")


class TurnMembership(_Ours):
    """``in`` → ``not in`` and the other way."""

    def mutation_positions(self, node):
        if node.type == "comparison":
            for sign in node.children[1::2]:
                if words(sign) in ("in", "not in"):
                    yield sign.start_pos, sign.end_pos

    def mutate(self, node, index):
        signs = [i for i, sign in enumerate(node.children) if words(sign) in ("in", "not in")]
        old = node.children[signs[index]]
        node.children[signs[index]] = replaced(old, "in" if words(old) == "not in" else "not in")
        return node


class MoveLookup(_Ours):
    """A filter's boundary: ``due_on__lte=`` → ``due_on__lt=`` and the other way."""

    MOVED = {"__lte": "__lt", "__lt": "__lte", "__gte": "__gt", "__gt": "__gte"}

    def mutation_positions(self, node):
        if node.type == "name" and self._ending(node):
            yield node.start_pos, node.end_pos

    def mutate(self, node, index):
        old = self._ending(node)
        node.value = node.value.removesuffix(old) + self.MOVED[old]
        return node

    def _ending(self, node) -> str | None:
        if node.parent.type == "argument" and node is node.parent.children[0]:
            return next((end for end in self.MOVED if node.value.endswith(end)), None)
        return None


class DropCondition(_Ours):
    """One condition is dropped: ``.filter(point=p, state=s)`` → ``.filter(state=s)``."""

    CALLS = ("filter", "exclude", "Q", "get")

    def mutation_positions(self, node):
        if node.type == "trailer" and self._called(node) in self.CALLS:
            for argument in self._conditions(node):
                yield argument.start_pos, argument.end_pos

    def mutate(self, node, index):
        dropped = self._conditions(node)[index]
        if dropped is node.children[1]:
            del node.children[1]
            return node
        siblings = node.children[1].children
        at = siblings.index(dropped)
        del siblings[at : at + 2]
        return node

    def _called(self, trailer) -> str | None:
        before = trailer.get_previous_leaf()
        return before.value if trailer.children[0].value == "(" and before is not None else None

    def _conditions(self, trailer) -> list[NodeOrLeaf]:
        inside = trailer.children[1]
        arguments = inside.children[::2] if inside.type == "arglist" else [inside]
        return [a for a in arguments if a.type == "argument" and a.children[1].value == "="]


class TurnChoice(_Ours):
    """The condition of a comprehension is turned round: ``if x`` → ``if not x``."""

    def mutation_positions(self, node):
        if node.type == "comp_if":
            yield node.children[1].start_pos, node.children[1].end_pos

    def mutate(self, node, index):
        node.children[1] = replaced(node.children[1], f"not ({node.children[1].get_code()})")
        return node


def is_call(node) -> bool:
    last = node.children[-1]
    return last.type == "trailer" and last.children[0].value == "("


def words(node) -> str:
    return " ".join(node.get_code().split())


def replaced(old, code: str) -> NodeOrLeaf:
    """A node with other code in the place of an old one; the lines it took stay taken."""
    prefix = old.get_first_leaf().prefix
    new = parse(prefix + code)
    if new.children[-1].type == "endmarker":
        del new.children[-1]
    return new


OURS = {
    op.__name__: op for op in (RemoveCall, TurnMembership, MoveLookup, DropCondition, TurnChoice)
}


def operator_named(name: str) -> Operator:
    return OURS[name]() if name in OURS else get_operator(f"core/{name}")()


NAMES = (*CORE, *OURS)
