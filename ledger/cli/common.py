"""What every command shares: options, exit codes, messages, JSON, files."""

from __future__ import annotations

import functools
import io
import json
import os
import stat
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import IO, Any, NoReturn

import click
from click.core import ParameterSource

from ledger.values.finding import Fault, Finding, render_fault, render_finding

DONE, OWED, COULD_NOT = 0, 1, 2


def shared(function: Callable[..., int]) -> Callable[..., None]:
    """Give a command ``--workspace`` and ``--json``, its exit code, and messages for faults.

    The function returns its exit code. Whatever goes wrong becomes a message on standard error
    and exit code 2, never a traceback.
    """

    @click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
    @click.option(
        "--workspace", metavar="DIR",
        help="The workspace (else USELEDGER_WORKSPACE, else this folder or one above).",
    )  # fmt: skip
    @functools.wraps(function)
    def run(*args: object, **kwargs: object) -> None:
        _nothing_empty()
        _take_from_group(kwargs)
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):  # a terminal without a letter shows a mark
                stream.reconfigure(errors="replace")
        sys.exit(guarded(function, *args, **kwargs))

    return run


def _nothing_empty() -> None:
    """Stop at an option given without a value: it may be a shell's variable that is not set."""
    ctx: click.Context | None = click.get_current_context()
    while ctx is not None:
        for option in ctx.command.params:
            name = option.name or ""
            typed = ctx.get_parameter_source(name) is ParameterSource.COMMANDLINE
            if isinstance(option, click.Option) and typed and ctx.params.get(name) == "":
                stop(f"{option.opts[0]} is empty; write its value, or leave it out")
        ctx = ctx.parent


def _take_from_group(kwargs: dict[str, Any]) -> None:
    """Let ``held --workspace DIR show`` say the same as ``held show --workspace DIR``."""
    above = click.get_current_context().parent
    said = above.params if above is not None else {}
    kwargs["workspace"] = kwargs.get("workspace") or said.get("workspace")
    kwargs["as_json"] = kwargs.get("as_json") or bool(said.get("as_json"))


def group_options(function: Callable[..., None]) -> Callable[..., None]:
    """Give a group of commands ``--workspace`` and ``--json``, for itself and those below it."""
    function = click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")(
        function
    )
    return click.option("--workspace", metavar="DIR", help="The workspace.")(function)


def guarded(function: Callable[..., int], *args: object, **kwargs: object) -> int:
    """Run a command's function; turn every failure into a message and exit code 2."""
    from ledger.flow.workspace import WorkspaceProblem
    from ledger.journal import StoreProblem

    try:
        return function(*args, **kwargs)
    except (WorkspaceProblem, StoreProblem) as problem:
        say_error(f"{problem.what}; {problem.way_out}" if problem.way_out else problem.what)
    except BrokenPipeError:
        raise  # whoever reads our output has gone: click ends quietly
    except UnicodeEncodeError:
        say_error("what was typed holds bytes that are no text; type it again; nothing was changed")
    except OSError as error:
        named = f"{error.filename}: " if error.filename else ""
        say_error(f"{named}{error.strerror or error}; nothing was changed")
    except (click.ClickException, click.exceptions.Exit, click.Abort):
        raise
    except MemoryError:
        say_error(
            "this takes more memory than there is; what was not acknowledged was not recorded"
        )
    except KeyboardInterrupt:
        say_error("stopped; what was not acknowledged was not recorded")
    except Exception as error:  # noqa: BLE001 - the last line of defence: no traceback for any input
        if os.environ.get("USELEDGER_TRACEBACK"):
            traceback.print_exc()
        say_error(
            f"a fault of the program itself ({type(error).__name__}: {error}); what was not "
            "acknowledged was not recorded. Set USELEDGER_TRACEBACK=1 to see where, and report it"
        )
    return COULD_NOT


def say_error(text: str) -> None:
    """Write a message to standard error; what steers a terminal in it becomes a mark."""
    shown = "".join(sign if sign.isprintable() or sign == "\n" else "\ufffd" for sign in text)
    click.echo(f"useledger: {shown}", err=True)


def stop(text: str) -> NoReturn:
    """Write a message and leave with exit code 2."""
    say_error(text)
    sys.exit(COULD_NOT)


def print_json(value: object) -> None:
    """Print a value as JSON, text beyond ASCII as it is."""
    click.echo(json.dumps(value, ensure_ascii=False, indent=2, default=str))


class EntryNumber(click.ParamType):  # type: ignore[type-arg] # generic in newer click only
    """The number of an entry, as an argument or an option."""

    name = "entry"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> int:
        """Return the number, or say where numbers of entries are found."""
        text = str(value).strip()
        if not text.isascii() or not text.isdecimal() or len(text) > 15:
            self.fail(
                f'"{value}" is not an entry number; find it with useledger entries', param, ctx
            )
        return int(text)


def fault_json(fault: Fault) -> dict[str, Any]:
    """Return a fault as plain values."""
    origin = fault.origin
    return {
        "code": fault.code, "file": origin.file, "row": origin.row, "column": origin.column,
        "cell": origin.cell, "what": fault.what, "way_out": fault.way_out,
        "text": render_fault(fault),
    }  # fmt: skip


def finding_json(finding: Finding) -> dict[str, Any]:
    """Return a finding as plain values."""
    return {
        "kind": str(finding.kind), "code": finding.code, "name": finding.name,
        "column": finding.column, "text": finding.text, "way_out": finding.way_out,
        "blocks": finding.blocks,
        "rules": [
            {"file": rule.file, "line": rule.line, "key": rule.key, "source": rule.source,
             "confidence": rule.confidence}
            for rule in finding.rules
        ],
    }  # fmt: skip


def show_finding(finding: Finding, where: str) -> str:
    """Return a finding as a person reads it."""
    return render_finding(finding, where)


def read_day(text: str, name: str = "date") -> date:
    """Read an ISO date given on the command line, or stop with how to write it."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        stop(f'{name}: "{text}" is not a day; write it as 2026-01-14')


MOST_OF_A_SHEET = 900 * 1024 * 1024
"""What the database takes of one kept file."""

MOST_OF_A_PAPER = 100 * 1024 * 1024
"""A photograph or a scanned paper is smaller by far."""


def read_file(path: Path, most: int = MOST_OF_A_SHEET) -> bytes:
    """Return a file's bytes, or stop saying what is the matter with it.

    Its kind and its size are looked at before anything is read: a pipe would wait for ever, and a
    device has no end.
    """
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            stop(f"{path} is a folder; name a file in it")
        if not stat.S_ISREG(about.st_mode):
            stop(f"{path} is a pipe or a device, no file; save it as a file and name that")
        if about.st_size > most:
            stop(
                f"{path} has {about.st_size:,} bytes; {most:,} is the most that is read; hand it "
                "in as several files; nothing was recorded"
            )
        with path.open("rb") as stream:
            return stream.read(about.st_size)  # a larger number would be set aside at once
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        said = error.strerror if isinstance(error, OSError) else "this is no name of a file"
        stop(f"{path}: {said}; see that it is there and may be read; nothing was recorded")


def name_of(path: Path) -> str:
    """Return a file's name as it may be shown and kept: what steers a terminal becomes a mark."""
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in path.name)


@contextmanager
def staged_file(path: Path) -> Iterator[IO[bytes]]:
    """Give a file to write to piece by piece, which takes its name when the block went well."""
    with staged({path: b""}), path.with_name(f".{path.name}.part").open("wb") as out:
        yield out


@contextmanager
def staged(files: Mapping[Path, bytes]) -> Iterator[None]:
    """Write files beside their places, and put them there when the block has gone well.

    What cannot be written is known before the block changes anything; a half-written file never
    stands under its name.
    """
    parts: dict[Path, Path] = {}
    made = [folder for path in files for folder in path.parents if not folder.exists()]
    try:
        for path, data in files.items():
            if path.is_dir():
                stop(f"{path} is a folder; name a file")
            path.parent.mkdir(parents=True, exist_ok=True)
            part = path.with_name(f".{path.name}.part")
            parts[part] = path
            part.write_bytes(data)
        yield
        for part, path in parts.items():
            part.replace(path)
    except BaseException:
        for part in parts:
            part.unlink(missing_ok=True)
        for folder in sorted(set(made), key=lambda folder: -len(folder.parts)):
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
        raise
    finally:
        for part in parts:
            part.unlink(missing_ok=True)
