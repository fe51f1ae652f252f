"""The mutants of a module, made by the operators of cosmic-ray.

Left out, since no test of a figure can see them: decorators (caches, compilation and the options of
dataclasses change speed and guards only), annotations and aliases of types, the marks ``*`` and
``/`` of a signature and the stars of an unpacked mapping. Strings are never mutated. Of the
replacements of an operator one or two are made, not all eleven: ``a << b`` on floats says nothing.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from parso.python import tree

from .configuration import Identity

BINARY = {
    "Add": "Sub",
    "Sub": "Add",
    "Mul": "Div",
    "Div": "Mul",
    "FloorDiv": "Mul",
    "Mod": "Mul",
    "Pow": "Mul",
    "RShift": "LShift",
    "LShift": "RShift",
    "BitOr": "BitAnd",
    "BitAnd": "BitOr",
    "BitXor": "BitAnd",
}
# The boundary, and the negation.
COMPARISON = {
    "Eq": ("NotEq",),
    "NotEq": ("Eq",),
    "Lt": ("LtE", "GtE"),
    "LtE": ("Lt", "Gt"),
    "Gt": ("GtE", "LtE"),
    "GtE": ("Gt", "Lt"),
    "Is": ("IsNot",),
    "IsNot": ("Is",),
}
COMPARISON_SIGNS = {"==", "!=", "<", "<=", ">", ">=", "is", "is not"}
OPERATORS = tuple(
    f"core/{name}"
    for name in (
        *(f"ReplaceBinaryOperator_{old}_{new}" for old, new in BINARY.items()),
        *(
            f"ReplaceComparisonOperator_{old}_{new}"
            for old in COMPARISON
            for new in COMPARISON[old]
        ),
        "ReplaceUnaryOperator_Delete_USub",
        "ReplaceUnaryOperator_Delete_Not",
        "ReplaceUnaryOperator_Delete_Invert",
        "ReplaceTrueWithFalse",
        "ReplaceFalseWithTrue",
        "ReplaceAndWithOr",
        "ReplaceOrWithAnd",
        "ReplaceBreakWithContinue",
        "ReplaceContinueWithBreak",
        "AddNot",
        "NumberReplacer",
        "ExceptionReplacer",
        "ZeroIterationForLoop",
    )
)


@dataclass(frozen=True)
class Mutant:
    """One change of one module."""

    identity: Identity
    operator: str
    occurrence: int
    start: tuple[int, int]
    end: tuple[int, int]
    source: str


def mutants_of(module: str, source: str) -> Iterator[Mutant]:
    """Make every mutant of a module."""
    nodes = list(ast_nodes(get_ast(source)))
    seen: Counter[Identity] = Counter()
    for name in OPERATORS:
        operator = cosmic_ray.plugins.get_operator(name)()
        places = ((node, place) for node in nodes for place in operator.mutation_positions(node))
        for occurrence, (node, (start, end)) in enumerate(places):
            if _is_left_out(node, name):
                continue
            mutated = mutate_code(source, operator, occurrence)
            before, after = _changed_lines(source, mutated)
            plain = Identity(module, _function(node), before, after)
            seen[plain] += 1
            identity = Identity(module, plain.function, before, after, seen[plain])
            yield Mutant(identity, name, occurrence, start, end, mutated)


def _is_left_out(node: Any, operator: str) -> bool:
    if operator.endswith("AddNot"):
        return _has_a_negation_of_its_own(node)
    if _is_mark_of_a_signature(node):
        return True
    child, parent = node, node.parent
    while parent is not None:
        if isinstance(parent, tree.Decorator):
            return True
        if isinstance(parent, tree.Function) and parent.annotation is child:
            return True
        # ``parameter: annotation`` and ``name: annotation = value``, whose value is mutated.
        place = {"tfpdef": 2, "annassign": 1}.get(parent.type)
        if place is not None and parent.children[place] is child:
            return True
        child, parent = parent, parent.parent
    return operator.startswith("core/ReplaceBinaryOperator_BitOr") and not _function(node)


def _has_a_negation_of_its_own(node: Any) -> bool:
    """Whether the condition is negated by another operator already."""
    condition = node.children[2 if node.type == "test" else 1]
    if condition.type == "not_test":
        return True
    if condition.type != "comparison" or len(condition.children) != 3:
        return False
    return " ".join(condition.children[1].get_code().split()) in COMPARISON_SIGNS


def _is_mark_of_a_signature(node: Any) -> bool:
    return node.type == "operator" and (
        node.parent.type in ("parameters", "lambdef", "dictorsetmaker", "param")
        or (node.value == "**" and node.parent.type == "atom")
    )


def _function(node: Any) -> str:
    """Return the qualified name of the function or class around a node, empty at module level."""
    names: list[str] = []
    while node is not None:
        if isinstance(node, tree.Function | tree.Class) and not isinstance(node, tree.Lambda):
            names.append(node.name.value)
        node = node.parent
    return ".".join(reversed(names))


def _changed_lines(source: str, mutated: str) -> tuple[str, str]:
    """Return the lines that differ, each as one line without needless blanks."""
    before, after = source.split("\n"), mutated.split("\n")
    while before and after and before[0] == after[0]:
        del before[0], after[0]
    while before and after and before[-1] == after[-1]:
        del before[-1], after[-1]
    return " ".join(" ".join(before).split()), " ".join(" ".join(after).split())
