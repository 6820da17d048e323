"""Help teaches: every command and subcommand says what it does, with an example that runs."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from ledger.cli import COMMANDS, main
from tests.cli_use import use

ROOT = Path(__file__).resolve().parents[1]


def command_of(name: str) -> click.Command:
    command = main.get_command(click.Context(main), name)
    assert command is not None
    return command


def every_command() -> Iterator[tuple[str, ...]]:
    for name in COMMANDS:
        yield (name,)
        command = command_of(name)
        if isinstance(command, click.Group):
            yield from ((name, inner) for inner in command.list_commands(click.Context(command)))


def found(words: tuple[str, ...]) -> click.Command:
    command = command_of(words[0])
    for word in words[1:]:
        assert isinstance(command, click.Group)
        inner = command.get_command(click.Context(command), word)
        assert inner is not None
        command = inner
    return command


def example_lines(text: str) -> list[str]:
    """The examples in a help text, without the program's name; continued lines are joined."""
    pattern = re.compile(r"^ *useledger (.+)$", re.MULTILINE)
    whole = re.sub(r"\\\n +", "", text)
    return [line.split("   ")[0] for line in pattern.findall(whole)]


ALL = list(every_command())


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_help_says_what_it_does_and_shows_an_example(words: tuple[str, ...]) -> None:
    shown = use(*words, "--help")
    assert shown.code == 0
    assert not shown.err
    # A group may show the examples of its subcommands itself.
    pages = [shown.out, *(use(*words[:n], "--help").out for n in range(1, len(words)))]
    examples = [line for page in pages for line in example_lines(page)]
    assert any(line.startswith(" ".join(words)) for line in examples), shown.out
    assert any(re.search(r"Examples?:", page) for page in pages)


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_the_options_of_an_example_are_options_of_the_command(words: tuple[str, ...]) -> None:
    for line in example_lines(found(words).help or ""):
        parts = shlex.split(line)
        command = command_of(parts[0])
        rest = parts[1:]
        if isinstance(command, click.Group) and rest and not rest[0].startswith("-"):
            inner = command.get_command(click.Context(command), rest[0])
            assert inner is not None, line
            command = inner
        known = {name for param in command.params for name in (*param.opts, *param.secondary_opts)}
        asked = {part.partition("=")[0] for part in rest if part.startswith("--")}
        assert asked <= known, line


@pytest.mark.parametrize("name", list(COMMANDS))
def test_the_first_line_of_help_is_that_of_the_list(name: str) -> None:
    first = (command_of(name).help or "").strip().splitlines()[0]
    assert first == COMMANDS[name][2]
    assert first in use("--help").out


def test_help_lists_the_commands_by_whose_they_are() -> None:
    shown = use("--help").out
    for whose in {whose for _, whose, _ in COMMANDS.values()}:
        assert f"For {whose}:" in shown
    assert max(map(len, shown.splitlines())) <= 80


def blocks(page: str) -> list[str]:
    return re.findall(r"^```[a-z]*\n(.*?)^```", page, re.MULTILINE | re.DOTALL)


def printed_commands() -> list[str]:
    pages = ("README.md", "DEVELOPERS.md", "rules/README.md")
    texts = [(ROOT / page).read_text(encoding="utf-8") for page in pages]
    lines = [line for text in texts for block in blocks(text) for line in block.splitlines()]
    return sorted({
        word for line in lines
        for word in re.findall(r"(?:^|&& |/)useledger ([a-z][a-z-]*)", line)
    })  # fmt: skip


@pytest.mark.parametrize("name", printed_commands())
def test_a_printed_command_exists_and_its_help_works(name: str) -> None:
    assert use(name, "--help").code == 0


def test_the_front_page_and_the_program_name_the_same_commands() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    listed = page.split("<!-- commands -->")[1].split("<!-- /commands -->")[0]
    rows = dict(re.findall(r"^\| `([a-z-]+)` \| (.+?) \|$", listed, re.MULTILINE))
    assert rows == {name: line for name, (_, _, line) in COMMANDS.items()}


def test_a_mistyped_command_is_answered_with_the_nearest() -> None:
    shown = use("recrod")
    assert shown.code == 2
    assert 'did you mean "record"?' in shown.err
    assert not shown.out


def test_the_program_runs_as_a_program() -> None:
    for words in (["--help"], ["summary", "--help"], ["--version"]):
        command = [sys.executable, "-c", "from ledger.cli import main; main()", *words]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0
        assert done.stdout
        assert not done.stderr
