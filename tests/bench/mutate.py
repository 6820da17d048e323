"""Break the program a little, many times, and see whether a test notices.

``python -m tests.bench.mutate --minutes 10`` copies the project to a folder of its own, changes one
comparison, number, truth value or sign at a time in the modules below, and runs the tests that
belong to the module. A change that no test notices is printed with its line. The changes are drawn
evenly from all that are possible, the same ones for the same ``--seed``.
"""

from __future__ import annotations

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.house import ROOT

KEPT = ("ledger", "reports", "rules", "fixtures", "migrations", "tests", "pyproject.toml",
        "README.md", "DEVELOPERS.md")  # fmt: skip
CHECKS = ("test_shape_labels.py", "test_checks_shapes.py", "test_shape_checks.py",
          "test_checks_samples.py", "test_checks_law.py", "test_checks_properties.py")  # fmt: skip
TARGETS = {
    "ledger/checks": CHECKS,
    "ledger/units.py": ("test_edges_of_reading.py", "test_units.py"),
    "ledger/numbers.py": ("test_edges_of_reading.py", "test_numbers.py", "test_amounts.py"),
    "ledger/normalise/amounts.py": ("test_amounts.py",),
    "ledger/normalise/dilution.py": ("test_amounts.py",),
    "ledger/normalise/counted.py": ("test_counted.py",),
}
"""Which tests are asked about which modules; the first that fails ends the question."""

_SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or,
    ast.Or: ast.And,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the number of the spot in its tree, and the line."""

    path: Path
    spot: int
    line: int
    what: str


def _spots(tree: ast.Module) -> Iterator[tuple[ast.AST, str]]:
    """Yield every node that can be changed, with what would be changed; texts are left alone."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _SWAPS:
            yield node, type(node.ops[0]).__name__
        elif isinstance(node, (ast.BinOp, ast.BoolOp)) and type(node.op) in _SWAPS:
            yield node, type(node.op).__name__
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield node, "Not"
        elif isinstance(node, ast.Constant) and isinstance(node.value, (bool, int)):
            yield node, repr(node.value)


def _typing(node: ast.AST) -> set[int]:
    """Return the nodes of annotations, where a change means nothing."""
    found: set[int] = set()
    for part in ast.walk(node):
        notes = [getattr(part, "annotation", None), getattr(part, "returns", None)]
        if isinstance(part, ast.ClassDef):
            notes += part.decorator_list
        for note in filter(None, notes):
            found |= {id(inner) for inner in ast.walk(note)}
    return found


def mutants(path: Path) -> list[Mutant]:
    """Return every change that can be made in a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = _typing(tree)
    return [
        Mutant(path, number, getattr(node, "lineno", 0), what)
        for number, (node, what) in enumerate(_spots(tree))
        if id(node) not in skipped
    ]


def changed(mutant: Mutant, text: str) -> str:
    """Return the source with that one change."""
    tree = ast.parse(text)
    node = list(_spots(tree))[mutant.spot][0]
    if isinstance(node, ast.Compare):
        node.ops = [_SWAPS[type(node.ops[0])]()]
    elif isinstance(node, (ast.BinOp, ast.BoolOp)):
        node.op = _SWAPS[type(node.op)]()
    elif isinstance(node, ast.UnaryOp):
        node.operand, node.op = ast.UnaryOp(ast.Not(), node.operand), ast.Not()
    elif isinstance(node, ast.Constant):
        node.value = not node.value if isinstance(node.value, bool) else node.value + 1
    return ast.unparse(ast.fix_missing_locations(tree))


def noticed(folder: Path, tests: tuple[str, ...], seconds: float) -> bool:
    """Run the tests in the folder; a failure or an endless loop is notice."""
    files = [f"tests/{name}" for name in tests if (folder / "tests" / name).exists()]
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *files]
    try:
        done = subprocess.run(
            command, cwd=folder, capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return True
    return done.returncode != 0


def main() -> None:
    """Draw changes until the time is over, and print those that nobody noticed."""
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("--minutes", type=float, default=10)
    said.add_argument("--seed", type=int, default=1)
    said.add_argument("--only", default="")
    args = said.parse_args()
    drawn = random.Random(args.seed)
    folder = Path(tempfile.mkdtemp(prefix="mutants-"))
    for name in KEPT:
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        copy(ROOT / name, folder / name)
    pool = [
        (mutant, tests)
        for target, tests in TARGETS.items()
        if args.only in target
        for path in _files(folder / target)
        for mutant in mutants(path)
    ]
    drawn.shuffle(pool)
    until, alive, dead = time.monotonic() + args.minutes * 60, 0, 0
    for mutant, tests in pool:
        if time.monotonic() > until:
            break
        text = mutant.path.read_text(encoding="utf-8")
        mutant.path.write_text(changed(mutant, text), encoding="utf-8")
        caught = noticed(folder, tests, 180)
        mutant.path.write_text(text, encoding="utf-8")
        dead, alive = dead + caught, alive + (not caught)
        if not caught:
            place = mutant.path.relative_to(folder)
            print(f"{place}:{mutant.line}: {mutant.what} changed, and no test fails", flush=True)
    shutil.rmtree(folder)
    print(f"{dead} of {dead + alive} changes noticed ({len(pool)} are possible)")


def _files(target: Path) -> list[Path]:
    return sorted(target.glob("*.py")) if target.is_dir() else [target]


if __name__ == "__main__":
    main()
