"""The house rules: who may import whom, and how long things may grow."""

from __future__ import annotations

import ast
import re
import statistics
import sys
import tomllib

import pytest

from tests.house import (
    HOUSE,
    ROOT,
    Module,
    functions,
    imports,
    known_names,
    length,
    modules,
    parameters,
)

ROWS: tuple[tuple[str, ...], ...] = (
    ("ledger.values",),
    (
        "ledger.units", "ledger.unit_factors", "ledger.numbers", "ledger.arithmetic",
        "ledger.merkle", "ledger.seal",
    ),
    ("ledger.rulebook",),
    (
        "ledger.report_remarks", "ledger.deadlines", "ledger.stating", "ledger.audit",
        "ledger.stock", "ledger.weighing", "ledger.refusals", "ledger.plausible",
    ),
    (
        "ledger.normalise", "ledger.checks", "ledger.close",
        "ledger.summarise", "ledger.listing", "ledger.filing", "ledger.inspection",
    ),
    ("ledger.preparing", "ledger.notice"),
    ("ledger.rulefile", "ledger.intake", "ledger.journal"),
    ("ledger.flow",),
    ("reports",),
    ("ledger.cli",),
)  # fmt: skip
"""Each row imports only from the rows above it. The second row's parts may use each other
(numbers reads quantities of units); circles are caught by a test of their own."""

MEETS_ITSELF = 1
PURE_ROWS = 6

THIRD_PARTY: dict[str, tuple[str, ...]] = {
    "sqlalchemy": ("ledger.journal", "migrations"),
    "alembic": ("ledger.journal.migrate", "ledger.journal.upgrade", "migrations"),
    "psycopg": ("ledger.journal", "migrations"),
    "pint": ("ledger.unit_factors",),
    "openpyxl": ("ledger.intake.spreadsheet", "reports"),
    "click": ("ledger.cli",),
    "typst": ("reports",),
    "pandas": ("ledger", "reports"),
    "holidays": ("ledger.deadlines",),
    "msgspec": ("ledger.journal.shapes",),
    "orjson": ("ledger.seal",),
    "tomli": ("ledger.rulefile", "ledger.rulebook.scan"),
}
"""Which part may import which package; a package that is not listed may not be imported."""

IMPURE = frozenset({
    "asyncio", "fileinput", "getpass", "glob", "http", "importlib", "multiprocessing", "os",
    "pathlib", "random", "secrets", "shutil", "signal", "socket", "sqlite3", "subprocess",
    "tempfile", "threading", "time", "urllib",
})  # fmt: skip
"""What a pure part has no business with: files, databases, clocks, chance, processes."""

CLOCKS = frozenset({"now", "today", "utcnow"})


def part_of(name: str) -> str:
    """Return the part of the house that a dotted name belongs to."""
    words = name.split(".")
    return ".".join(words[:2]) if words[0] == "ledger" else words[0]


def below(name: str, homes: tuple[str, ...]) -> bool:
    """Say whether a dotted name is one of the homes or lies below one."""
    return any(name == home or name.startswith(f"{home}.") for home in homes)


def row_of(part: str) -> int | None:
    """Return the row of a part, counted from 0, or None where no row names it."""
    return next((number for number, row in enumerate(ROWS) if part in row), None)


# --- arrows ----------------------------------------------------------------------------------


def test_every_part_stands_in_a_row() -> None:
    strays = {m.place for m in modules() if row_of(m.part) is None}
    strays -= {m.place for m in modules() if m.part in {"ledger", "ledger.demo"}}
    assert not strays, "a new part needs a row in tests/test_house.py"


def wrong_arrow(module: Module, name: str) -> bool:
    """Say whether this import points the wrong way."""
    target = part_of(name)
    if name == "ledger":  # the front page alone; it imports nothing
        return False
    if name.split(".", 1)[0] not in {"ledger", "reports", "migrations", "tests"}:
        return False
    if target == module.part:
        return False
    if module.part == "ledger.demo":
        return target != "ledger.values"
    if target == "ledger.demo":
        return module.part != "ledger.cli"
    mine, theirs = row_of(module.part), row_of(target)
    if mine is None or theirs is None:
        return True
    return theirs > mine or (theirs == mine and mine != MEETS_ITSELF)


def test_arrows_point_up() -> None:
    wrong = [
        f"{module.place}:{line}: {module.part} may not import {name}"
        for module in modules()
        for name, line in sorted(set(imports(module)))
        if wrong_arrow(module, name)
    ]
    assert not wrong, "\n".join(wrong)


def test_the_arrow_test_sees_a_wrong_arrow() -> None:
    path = ROOT / "ledger" / "values" / "sample.py"
    for text, bad in (
        ("from ledger.units import Units", True),
        ("def late():\n    from ..journal import create", True),
        ("from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import ledger.flow", True),
        ("from ledger.values.amount import Used\nimport json", False),
    ):
        module = Module("ledger.values.sample", path, text, ast.parse(text))
        assert any(wrong_arrow(module, name) for name, _ in imports(module)) is bad, text


def test_no_circles() -> None:
    arrows = {
        module.name: {name for name, _ in imports(module)} & known_names() - {module.name}
        for module in modules()
    }
    done: set[str] = set()

    def walk(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, "a circle: " + " -> ".join([*way[way.index(name) :], name])
        if name in done:
            return
        for target in sorted(arrows[name]):
            walk(target, (*way, name))
        done.add(name)

    for name in sorted(arrows):
        walk(name, ())
    assert done == set(arrows)


def test_packages_from_outside_are_imported_where_they_belong() -> None:
    wrong = []
    for module in modules("ledger", "reports", "migrations"):
        for name, line in imports(module):
            top = name.split(".")[0]
            if top in sys.stdlib_module_names or top in {"ledger", "reports"}:
                continue
            if top not in THIRD_PARTY or not below(module.name, THIRD_PARTY[top]):
                wrong.append(f"{module.place}:{line}: {module.name} may not import {top}")
    assert not wrong, "\n".join(wrong)


def test_what_is_imported_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"].get("postgres", [])]
    wanted += project["optional-dependencies"].get("fast", [])
    declared = {re.split(r"[\[<>=!~; ]", line, maxsplit=1)[0].casefold() for line in wanted}
    used = {name.split(".")[0] for module in modules() for name, _ in imports(module)}
    foreign = used - sys.stdlib_module_names - {"ledger", "reports"}
    assert foreign
    assert foreign <= declared, f"not declared in pyproject.toml: {sorted(foreign - declared)}"


def test_values_and_pure_parts_touch_no_file_database_or_clock() -> None:
    pure = {part for row in ROWS[:PURE_ROWS] for part in row} - {"ledger.unit_factors"}
    wrong = []
    for module in modules("ledger"):
        if module.part not in pure:
            continue
        for name, line in imports(module):
            if name.split(".")[0] in IMPURE:
                wrong.append(f"{module.place}:{line}: a pure part imports {name}")
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Call):
                func = node.func
                clock = isinstance(func, ast.Attribute) and func.attr in CLOCKS
                if clock or (isinstance(func, ast.Name) and func.id in {"open", "print", "input"}):
                    wrong.append(f"{module.place}:{node.lineno}: a pure part calls outside")
    assert not wrong, "\n".join(wrong)


def test_only_the_command_line_imports_by_name() -> None:
    wrong = [
        f"{module.place}:{node.lineno}"
        for module in modules()
        if module.part != "ledger.cli"
        for node in ast.walk(module.tree)
        if (isinstance(node, ast.Attribute) and node.attr == "import_module")
        or (isinstance(node, ast.Name) and node.id in {"import_module", "__import__"})
    ]
    assert not wrong, "an import by name hides an arrow: " + ", ".join(wrong)


def test_only_the_flow_writes_the_journal() -> None:
    # A Writer is to be had from Store.writing() alone, so whoever calls it can append.
    writers = {"ledger.journal", "ledger.flow"}
    wrong = []
    for module in modules():
        if module.part in writers:
            continue
        for node in ast.walk(module.tree):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
                continue
            sealed = node.func.attr == "append" and any(
                isinstance(arg, ast.Call) and ast.unparse(arg.func).endswith("NewEntry")
                for arg in node.args
            )
            if sealed or node.func.attr == "writing":
                wrong.append(f"{module.place}:{node.lineno}: writes past the flow")
    assert not wrong, "\n".join(wrong)


# --- caps ------------------------------------------------------------------------------------


def test_no_module_is_over_400_lines() -> None:
    long = [
        f"{module.place}: {count} lines"
        for module in modules(*HOUSE)
        if (count := len(module.text.splitlines())) > 400
    ]
    assert not long, "\n".join(long)


def test_no_function_is_over_50_lines_or_6_parameters() -> None:
    wrong = []
    for module in modules(*HOUSE):
        for function in functions(module):
            where = f"{module.place}:{function.lineno}: {function.name}"
            if length(function) > 50:
                wrong.append(f"{where} has {length(function)} lines")
            if parameters(function) > 6:
                wrong.append(f"{where} has {parameters(function)} parameters")
    assert not wrong, "\n".join(wrong)


def test_medians_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    sizes = [len(module.text.splitlines()) for module in modules() if len(module.tree.body) > 1]
    bodies = [length(function) for module in modules() for function in functions(module)]
    told = f"{statistics.median(sizes):g} lines a module, {statistics.median(bodies):g} a function"
    with capsys.disabled():
        print(f"\nmedians: {told}")
    assert sizes
    assert bodies
