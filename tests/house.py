"""The project's own source as the house tests see it: modules, imports, functions."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

HOUSE = ("ledger", "reports", "migrations")


@dataclass(frozen=True)
class Module:
    """A source file with its dotted name and parsed tree."""

    name: str
    path: Path
    text: str
    tree: ast.Module

    @property
    def part(self) -> str:
        """``ledger.checks`` for ``ledger.checks.label``; ``reports`` for ``reports.pdf``."""
        words = self.name.split(".")
        return ".".join(words[:2]) if words[0] == "ledger" else words[0]

    @property
    def place(self) -> str:
        """The path as a person would type it."""
        return str(self.path.relative_to(ROOT))


@cache
def modules(*tops: str) -> tuple[Module, ...]:
    """Return every module below the given top-level folders."""
    found = []
    for top in tops or ("ledger", "reports"):
        for path in sorted((ROOT / top).rglob("*.py")):
            words = path.relative_to(ROOT).with_suffix("").parts
            name = ".".join(words[:-1] if words[-1] == "__init__" else words)
            text = path.read_text(encoding="utf-8")
            found.append(Module(name, path, text, ast.parse(text, str(path))))
    return tuple(found)


@cache
def known_names() -> frozenset[str]:
    """Return the dotted names of all modules of the project."""
    return frozenset(module.name for module in modules())


def imports(module: Module) -> Iterator[tuple[str, int]]:
    """Yield every imported module by its full name, with the line.

    Imports for types and inside functions count like any other. ``from ledger import units`` is
    an import of ``ledger.units``.
    """
    inside = module.name if module.path.name == "__init__.py" else module.name.rpartition(".")[0]
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                words = inside.split(".")
                above = words[: len(words) - node.level + 1]
                base = ".".join([*above, base] if base else above)
            for alias in node.names:
                deeper = f"{base}.{alias.name}"
                yield (deeper if deeper in known_names() else base), node.lineno


Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(module: Module) -> Iterator[Function]:
    """Yield every function and method, nested ones too."""
    for node in ast.walk(module.tree):
        if isinstance(node, Function):
            yield node


def length(function: Function) -> int:
    """Return the lines of a function, docstring included, decorators not."""
    return (function.end_lineno or function.lineno) - function.lineno + 1


def parameters(function: Function) -> int:
    """Return how many things a caller must know, self and cls not counted."""
    args = function.args
    names = [a.arg for a in (*args.posonlyargs, *args.args, *args.kwonlyargs)]
    names += [a.arg for a in (args.vararg, args.kwarg) if a is not None]
    return len([name for name in names if name not in {"self", "cls"}])
