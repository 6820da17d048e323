"""The house rules for what stands in the files: no stubs, no strange words, no empty promises."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.house import HOUSE, ROOT, Function, functions, modules

STEPS = (
    "read", "normalise", "label", "jurisdiction", "append", "close", "summarise", "file", "inspect",
)  # fmt: skip


# --- what stands in the files ----------------------------------------------------------------


def test_every_module_says_what_it_is() -> None:
    silent = [m.place for m in modules(*HOUSE, "tests") if not ast.get_docstring(m.tree)]
    assert not silent, ", ".join(silent)


def test_the_front_page_lists_the_nine_steps_and_every_part() -> None:
    page = (ast.get_docstring(modules("ledger")[0].tree) or "").splitlines()
    steps = [line.split() for line in page if re.match(r"\d  ", line)]
    assert [(words[0], words[1]) for words in steps] == [
        (str(number), name) for number, name in enumerate(STEPS, start=1)
    ]
    beside = [line.split()[0] for line in page if re.match(r"[a-z_]+ +[a-z]", line)]
    named = [words[2].removeprefix("ledger.") for words in steps] + beside
    there = {
        path.stem
        for path in (ROOT / "ledger").iterdir()
        if path.suffix == ".py" or (path / "__init__.py").exists()
    } - {"__init__", "__main__"}
    assert set(named) == there
    assert all(len(words) > 4 for words in steps), "each step says what it does"


def is_protocol(node: ast.ClassDef) -> bool:
    """Say whether a class only describes a shape, so that its methods have no bodies."""
    return any("Protocol" in ast.unparse(base) for base in node.bases)


def empty(function: Function) -> bool:
    """Say whether a function does nothing."""
    body = [
        node
        for node in function.body
        if not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
    ]
    return all(isinstance(node, ast.Pass) for node in body)


def test_no_stubs() -> None:
    wrong = []
    for module in modules(*HOUSE):
        shapes = {
            id(function)
            for node in ast.walk(module.tree)
            if isinstance(node, ast.ClassDef) and is_protocol(node)
            for function in node.body
        }
        for function in functions(module):
            dressed = any(  # a group of commands has only its docstring, which is its help
                re.search(r"\boverload\b|\.group\b|\babstractmethod\b", ast.unparse(decorator))
                for decorator in function.decorator_list
            )
            if id(function) not in shapes and not dressed and empty(function):
                wrong.append(f"{module.place}:{function.lineno}: {function.name} does nothing")
        wrong += [
            f"{module.place}:{node.lineno}: not implemented"
            for node in ast.walk(module.tree)
            if isinstance(node, ast.Raise)
            and node.exc is not None
            and "NotImplemented" in ast.unparse(node.exc)
        ]
        wrong += [
            f"{module.place}:{number}: a promise instead of work"
            for number, line in enumerate(module.text.splitlines(), start=1)
            if re.search(r"#.*\b(TODO|FIXME|XXX|HACK)\b", line)
        ]
    assert not wrong, "\n".join(wrong)


TOPS = (
    "README.md", "DEVELOPERS.md", "pyproject.toml", "ledger", "migrations", "rules", "reports",
    "tests", "fixtures", ".ci",
)  # fmt: skip
TEXT = {".py", ".md", ".toml", ".csv", ".txt", ".json", ".typ", ".ini", ".mako", ".sql", ""}

# The project speaks of itself alone: not of who wrote it, with what, or on which machine.
FOREIGN = re.compile(
    r"\bassistants?\b|\bchat ?bots?\b|\blanguage models?\b|\bLLMs?\b|\bcopilot\b|\bCEO\b"
    r"|(?<!owner's )(?<!owner or )(?<!wetting )(?<!user )\bagents?\b"
    r"|\bsessions?\b|\bsub-?agents?\b|/work/|\bshared/|\bDESIGN\.md|\bcontract\.md"
    r"|\bissues? #?\d|\bhelpers? (?:wrote|session|agent)",
    re.IGNORECASE,
)
# Legitimate neighbours of those words: a fixture's scope and a database's own terms.
HOME_WORDS = re.compile(
    r"scope=\"session\"|session_replication_role|postgres|pytest_session|\bSET SESSION\b",
    re.IGNORECASE,
)


def text_files() -> Iterator[Path]:
    """Yield the project's own text files."""
    for top in TOPS:
        path = ROOT / top
        for file in sorted(path.rglob("*")) if path.is_dir() else [path]:
            if file.is_file() and file.suffix in TEXT and "__pycache__" not in file.parts:
                yield file


def read_text(file: Path) -> str:
    """Return a file's text; samples of old encodings are read as far as they go."""
    return file.read_text("utf-8-sig", errors="replace")


def foreign(line: str) -> bool:
    """Say whether a line speaks of something that is no part of the project."""
    return bool(FOREIGN.search(line)) and not HOME_WORDS.search(line)


def test_the_files_speak_of_the_project_alone() -> None:
    wrong = [
        f"{file.relative_to(ROOT)}:{number}: {line.strip()[:90]}"
        for file in text_files()
        if file != Path(__file__).resolve()
        for number, line in enumerate(
            file.read_text("utf-8-sig", errors="replace").splitlines(), start=1
        )
        if foreign(line)
    ]
    assert not wrong, "\n".join(wrong)


def test_the_word_test_sees_and_spares() -> None:
    assert foreign("written in a session")
    assert foreign("see issue #2")
    assert foreign("read /work/main first")
    assert not foreign('@pytest.fixture(scope="session")')
    assert not foreign("a reagent, or the owner's agent")
    assert not foreign("Owner or agent of the property.")


# --- the tests themselves --------------------------------------------------------------------


def test_every_test_can_fail() -> None:
    # Only a test that asserts, expects an exception or calls a check of its own file can fail.
    wrong = []
    for module in modules("tests"):
        checking = {
            function.name
            for function in functions(module)
            if any(
                isinstance(node, ast.Assert)
                or (isinstance(node, ast.Attribute) and node.attr in {"raises", "fail"})
                for node in ast.walk(function)
            )
        }
        for function in functions(module):
            called = {
                node.func.id
                for node in ast.walk(function)
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            }
            if not function.name.startswith("test_") or function.name in checking:
                continue
            if not called & checking:
                wrong.append(f"{module.place}:{function.lineno}: {function.name}")
    assert not wrong, "tests that cannot fail: " + ", ".join(wrong)


def test_no_test_is_skipped_for_good() -> None:
    wrong = [
        f"{module.place}:{node.lineno}: {ast.unparse(node)}"
        for module in modules("tests")
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Attribute)
        and node.attr in {"skip", "xfail"}
        and ast.unparse(node.value).endswith("mark")
    ]
    assert not wrong, "\n".join(wrong)


# --- what the papers promise -----------------------------------------------------------------


def shell_lines(page: str) -> Iterator[str]:
    """Yield the command lines of a page's code blocks, continuation lines joined."""
    for block in re.findall(r"^```(?:sh|console|bash)?\n(.*?)^```", page, re.MULTILINE | re.DOTALL):
        for line in block.replace("\\\n", " ").splitlines():
            yield from re.split(r"&&|\|", line.removeprefix("$ "))


def test_every_command_printed_in_the_papers_exists() -> None:
    from ledger.cli import COMMANDS, main

    pages = [ROOT / name for name in ("README.md", "DEVELOPERS.md") if (ROOT / name).exists()]
    printed = {
        (page.name, words[1])
        for page in pages
        for line in shell_lines(page.read_text(encoding="utf-8"))
        if (words := line.split()) and words[0].endswith("useledger") and len(words) > 1
    }
    assert printed, "README.md shows how the program is used"
    unknown = [(page, word) for page, word in printed if word[0] != "-" and word not in COMMANDS]
    assert not unknown
    for name in COMMANDS:
        command = main.get_command(None, name)  # type: ignore[arg-type]
        assert command is not None
        assert command.name == name
        assert command.help, f"{name} says what it does"


def test_the_two_commands_stand_between_their_markers() -> None:
    # .ci/run takes both lines from here, so that what is printed is what is tested.
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    for name, words in (("test", "/pytest"), ("demo", "/useledger demo")):
        inside = page.split(f"<!-- command:{name} -->")[1].split(f"<!-- /command:{name} -->")[0]
        lines = [line for line in inside.splitlines() if line and not line.startswith("```")]
        assert len(lines) == 1
        assert lines[0].startswith("python3 -m venv .venv && .venv/bin/pip install ")
        assert words in lines[0]
