"""The small changes that can be made to a module, one at a time.

A change swaps one comparison, sign or connective, adds one to a number, turns a truth value, takes
a ``not`` away or lets an ``if`` never be taken. Texts and types are left alone.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType

_SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or,
    ast.Or: ast.And,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the number of the spot in its tree, where it stands, what it does.

    ``first`` and ``last`` are the lines of the statement (or header) it stands in; ``cold`` says
    that it takes effect when the module is imported: a process that has it already is no use.
    """

    path: Path
    spot: int
    line: int
    what: str
    first: int
    last: int
    cold: bool

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.what}"


def _spots(tree: ast.Module) -> Iterator[tuple[ast.AST, str]]:
    """Yield every node that can be changed, with what is done to it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _SWAPS:
            old = type(node.ops[0])
            yield node, f"{old.__name__} to {_SWAPS[old].__name__}"
        elif isinstance(node, (ast.BinOp, ast.BoolOp)) and type(node.op) in _SWAPS:
            yield node, f"{type(node.op).__name__} to {_SWAPS[type(node.op)].__name__}"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield node, "not left out"
        elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
            yield node, f"{node.value} to {not node.value}"
        elif isinstance(node, ast.Constant) and isinstance(node.value, int):
            yield node, f"{node.value} to {node.value + 1}"
        elif isinstance(node, ast.If):
            yield node.test, "if never"


def _typing(tree: ast.AST) -> set[int]:
    """Return the nodes of annotations and of a class's decorators, where a change means nothing."""
    found: set[int] = set()
    for part in ast.walk(tree):
        notes = [getattr(part, "annotation", None), getattr(part, "returns", None)]
        if isinstance(part, ast.ClassDef):
            notes += part.decorator_list
        if isinstance(part, ast.If) and getattr(part.test, "id", "") == "TYPE_CHECKING":
            notes.append(part.test)
        for note in filter(None, notes):
            found |= {id(inner) for inner in ast.walk(note)}
    return found


def _warm(tree: ast.AST) -> set[int]:
    """Return the nodes that run when a function is called, not when the module is imported."""
    found: set[int] = set()
    for part in ast.walk(tree):
        if isinstance(part, (ast.FunctionDef, ast.AsyncFunctionDef)):
            found |= {id(node) for line in part.body for node in ast.walk(line)}
        elif isinstance(part, ast.Lambda):
            found |= {id(node) for node in ast.walk(part.body)}
    return found


def _statements(tree: ast.Module) -> dict[int, tuple[int, int]]:
    """Return the first and last line of the statement, or header, that each node stands in."""
    lines: dict[int, tuple[int, int]] = {}
    for part in ast.walk(tree):  # outer before inner: the innermost statement stays
        if isinstance(part, ast.stmt):
            body = getattr(part, "body", None)
            last = body[0].lineno - 1 if body else part.end_lineno or part.lineno
            for node in ast.walk(part):
                lines[id(node)] = (part.lineno, max(part.lineno, last))
    return lines


def mutants(root: Path, path: Path) -> list[Mutant]:
    """Return every change that can be made in a file of a project; paths are the project's."""
    tree = ast.parse((root / path).read_text(encoding="utf-8"))
    skipped, warm, lines = _typing(tree), _warm(tree), _statements(tree)
    found = []
    for number, (node, what) in enumerate(_spots(tree)):
        if id(node) in skipped:
            continue
        line = getattr(node, "lineno", 0)
        first, last = lines[id(node)]
        cold = id(node) not in warm
        found.append(Mutant(path, number, line, what, first, max(last, line), cold))
    return found


def _tree(mutant: Mutant, root: Path) -> ast.Module:
    tree = ast.parse((root / mutant.path).read_text(encoding="utf-8"))
    node = list(_spots(tree))[mutant.spot][0]
    if mutant.what == "if never":
        for part in ast.walk(tree):
            if isinstance(part, ast.If) and part.test is node:
                part.test = ast.copy_location(ast.Constant(value=False), node)
                # Asked for and thrown away: a name bound in the test (:=) is bound all the same.
                part.test = ast.copy_location(
                    ast.BoolOp(ast.And(), [node, part.test]),
                    node,  # type: ignore[list-item]
                )
    elif isinstance(node, ast.Compare):
        node.ops = [_SWAPS[type(node.ops[0])]()]
    elif isinstance(node, (ast.BinOp, ast.BoolOp)):
        node.op = _SWAPS[type(node.op)]()
    elif isinstance(node, ast.UnaryOp):
        node.operand, node.op = ast.UnaryOp(ast.Not(), node.operand), ast.Not()
    elif isinstance(node, ast.Constant):
        node.value = not node.value if isinstance(node.value, bool) else int(str(node.value)) + 1
    return ast.fix_missing_locations(tree)


def changed_text(mutant: Mutant, root: Path) -> str:
    """Return the source of the module with that one change."""
    return ast.unparse(_tree(mutant, root))


def changed_code(mutant: Mutant, root: Path) -> CodeType:
    """Return the compiled module with that one change, its lines and file as they were."""
    file = str(root / mutant.path)
    return compile(_tree(mutant, root), file, "exec", dont_inherit=True)
