"""Small faults that could be in a statement: another comparison, sign, number, a condition upside down, a call left out.

The kinds are those of mutation testing at large (Offutt et al., "An experimental determination of sufficient mutant operators",
ACM TOSEM 5, 1996: relations, arithmetic, logic), with numbers, switches, returned values and calls added. Words of errors and
of progress are left alone: no test is meant to hold a sentence letter for letter.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass

_RELATIONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
}  # fmt: skip
_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.MatMult: ast.Mult, ast.Pow: ast.Mult,
}  # fmt: skip
_SAME = ("reshape", "zip")
"""Calls in which -1, or the switch `strict`, is the same when changed: numpy takes any negative length for what follows."""
_SPOKEN = ("Progress", "note", "warn")
"""Calls whose arguments are words, or how far a bar has got."""


@dataclass(frozen=True)
class Change:
    """One possible fault: what it does, in words, and the function that does it to the syntax tree it was found in."""

    words: str
    apply: Callable[[], None]


def changes(statement: ast.stmt, parent: ast.AST) -> list[Change]:
    """All faults of a statement itself, not of the statements inside it; `parent` holds it."""
    found: list[Change] = []
    for node in _own(statement):
        found += _of(node)
    if isinstance(statement, (ast.If, ast.While)):
        found.append(_upside_down(statement, "test"))
    if isinstance(statement, ast.Return) and statement.value is not None and not _is_none(statement.value):
        found.append(_set(statement, "value", ast.Constant(None), "return None"))
    if isinstance(statement, ast.AugAssign) and type(statement.op) in _ARITHMETIC:
        found.append(_set(statement, "op", _ARITHMETIC[type(statement.op)](), f"{type(statement.op).__name__} turned round"))
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call) and not _speaks(statement.value):
        found.append(Change("call left out", lambda: _replace(parent, statement, ast.Pass())))
    return found


def statements(tree: ast.Module) -> Iterator[tuple[ast.stmt, ast.AST]]:
    """(statement, what holds it) of all that stand in functions; no docstrings, no errors raised, no assertions for types."""
    seen: set[int] = set()  # those of a function inside another come up twice
    for function in ast.walk(tree):
        if isinstance(function, (ast.FunctionDef, ast.AsyncFunctionDef)):
            for parent in ast.walk(function):
                for child in ast.iter_child_nodes(parent):
                    if isinstance(child, ast.stmt) and id(child) not in seen and _does_something(child):
                        seen.add(id(child))
                        yield child, parent


def _own(statement: ast.stmt) -> Iterator[ast.AST]:
    """The expressions of a statement without those of statements inside it, of annotations, of texts and of what is said."""
    waiting = [child for child in ast.iter_child_nodes(statement) if not isinstance(child, ast.stmt)]
    if isinstance(statement, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Try, ast.Import, ast.ImportFrom)):
        return
    if isinstance(statement, ast.AnnAssign):
        waiting = [statement.value] if statement.value is not None else []
    while waiting:
        node = waiting.pop()
        if isinstance(node, (ast.JoinedStr, ast.stmt)) or (isinstance(node, ast.Call) and _speaks(node)):
            continue
        if isinstance(node, ast.Call) and _name(node) in _SAME:
            kept = [argument for argument in node.args if not isinstance(argument, ast.UnaryOp)]
            waiting += [node.func, *kept, *(key.value for key in node.keywords if key.arg != "strict")]
            continue
        yield node
        waiting += [child for child in ast.iter_child_nodes(node) if not isinstance(child, ast.ExceptHandler)]


def _of(node: ast.AST) -> list[Change]:
    """The faults of one expression."""
    match node:
        case ast.Compare(ops=[relation]):
            return [
                _set(node, "ops", [other()], f"{type(relation).__name__} to {other.__name__}")
                for other in _RELATIONS[type(relation)]
            ]
        case ast.BinOp(op=sign) if type(sign) in _ARITHMETIC and not isinstance(node.left, ast.JoinedStr):
            other = _ARITHMETIC[type(sign)]
            return [_set(node, "op", other(), f"{type(sign).__name__} to {other.__name__}")]
        case ast.BoolOp(op=ast.And()):
            return [_set(node, "op", ast.Or(), "And to Or")]
        case ast.BoolOp(op=ast.Or()):
            return [_set(node, "op", ast.And(), "Or to And")]
        case ast.UnaryOp(op=ast.USub()):
            return [_set(node, "op", ast.UAdd(), "sign dropped")]
        case ast.IfExp():
            return [_upside_down(node, "test")]
        case ast.Constant(value=bool() as value):
            return [_set(node, "value", not value, f"{value} to {not value}")]
        case ast.Constant(value=int() as value):
            return [_set(node, "value", value + 1, f"{value} to {value + 1}")]
        case ast.Constant(value=float() as value):
            return [_set(node, "value", 2.0 * value if value else 1.0, f"{value} to {2.0 * value if value else 1.0}")]
    return []


def _set(node: ast.AST, name: str, value: object, words: str) -> Change:
    return Change(words, lambda: setattr(node, name, value))


def _upside_down(node: ast.If | ast.While | ast.IfExp, name: str) -> Change:
    return _set(node, name, ast.UnaryOp(ast.Not(), node.test), "condition upside down")


def _replace(parent: ast.AST, old: ast.stmt, new: ast.stmt) -> None:
    for _, value in ast.iter_fields(parent):
        if isinstance(value, list) and old in value:
            value[value.index(old)] = new


def _speaks(call: ast.Call) -> bool:
    return _name(call) in _SPOKEN


def _name(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def _does_something(statement: ast.stmt) -> bool:
    """Whether a statement is run at all, and is neither a docstring nor there for errors and types alone."""
    if isinstance(statement, (ast.Raise, ast.Assert, ast.Global, ast.Nonlocal)):
        return False
    if isinstance(statement, ast.AnnAssign):
        return statement.value is not None
    return not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant))


def _is_none(value: ast.expr) -> bool:
    return isinstance(value, ast.Constant) and value.value is None
