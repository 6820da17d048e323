"""Rule files: list, show, check, copy."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import COULD_NOT, DONE, OWED, fault_json, print_json, shared, stop
from ledger.cli.printing import counted, filled, table
from ledger.values.finding import render_fault

if TYPE_CHECKING:
    from ledger.rulebook.book import Book
    from ledger.rulebook.model import RuleFile


@click.group("rules")
def rules_command() -> None:
    """List, show, check or copy rule files.

    \b
    Examples:
      useledger rules list
      useledger rules show us-ca
      useledger rules check
      useledger rules copy us-ca
    """


def _book(workspace: str | None) -> tuple[Path | None, Book]:
    """Return the rules of the workspace, or the shipped ones where there is no workspace."""
    from ledger.flow.workspace import WorkspaceProblem, find_root, read_rules

    try:
        root: Path | None = find_root(workspace)
    except WorkspaceProblem:
        if workspace:
            raise
        root = None
    return root, read_rules(root, whole=True)


def _files(book: Book) -> list[RuleFile]:
    return [*book.labels, *book.jurisdictions, *book.practices]


_HEADINGS = ("Id", "Kind", "Title", "Checked on", "Rules", "Not read", "Remark")


@rules_command.command("list")
@shared
def list_command(workspace: str | None, as_json: bool) -> int:
    """List the rule files in use.

    \b
    Labels of the workspace, laws, practice and report forms. Exit code 1 says that a file should
    be compared with its sources again, 2 that a file has faults.
    Example:
      useledger rules list
    """
    from datetime import UTC, datetime

    _, book = _book(workspace)
    stale = {file.path for file in book.stale(datetime.now(UTC).date())}
    rows: list[dict[str, Any]] = [
        {
            "id": file.id, "family": file.family, "title": file.title, "file": file.path,
            "checked_on": file.checked_on.isoformat(),
            "state": "old: compare it with its sources" if file.path in stale else "",
            "rules": len(file.limits) + len(file.requirements), "unread": len(file.unread),
        }
        for file in _files(book)
    ]  # fmt: skip
    rows += [
        {"id": form.id, "family": "form", "title": form.title, "file": form.path,
         "checked_on": "", "state": "", "rules": len(form.columns), "unread": 0}
        for form in book.forms
    ]  # fmt: skip
    if as_json:
        print_json({"files": rows, "faults": [fault_json(fault) for fault in book.faults]})
    else:
        cells = [
            [
                row["id"], row["family"], row["title"], row["checked_on"], row["rules"],
                row["unread"] or "", row["state"],
            ]
            for row in rows
        ]  # fmt: skip
        click.echo(table(_HEADINGS, cells, right=(4, 5)))
        click.echo(
            "\nChecked on: when a file was compared with its sources. Not read: parts of the law "
            "that\nnobody read: nothing passes them. `useledger rules show ID` tells one file in "
            "words."
        )
        for fault in book.faults:
            click.echo(render_fault(fault))
    if book.faults:
        return COULD_NOT
    return OWED if stale else DONE


@rules_command.command("show")
@click.argument("name", metavar="ID")
@shared
def show_command(name: str, workspace: str | None, as_json: bool) -> int:
    """Show a rule file or a report form in plain words: source by source, what was not read last.

    \b
    A [?] marks what was not verified: it informs and decides nothing.
    Examples:
      useledger rules show us-ca
      useledger rules show us-ny-yearly
      useledger rules show labels/ridgeline-dust.toml
    """
    from ledger.rulebook.telling import tell
    from ledger.rulebook.telling_form import tell_form

    _, book = _book(workspace)
    found = [file for file in _files(book) if name in {file.id, file.path}]
    forms = [form for form in book.forms if name in {form.id, form.path}]
    if not found and not forms:
        known = [file.id for file in _files(book)] + [form.id for form in book.forms]
        stop(f'there is no rule file "{name}"; {_near(name, known)}')
    told = [(file.id, tell(file, book.forms)) for file in found]
    told += [(form.id, tell_form(form)) for form in forms]
    if as_json:
        print_json([{"id": id_, "lines": lines} for id_, lines in told])
    else:
        click.echo("\n\n".join(_shown(lines) for _, lines in told))
    return DONE


def _near(name: str, known: list[str]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(name, known, n=1)
    return f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known)}"


def _shown(lines: list[str]) -> str:
    """Return the lines of a file in words, each wrapped under its own indent."""
    out = []
    for line in "\n".join(lines).split("\n"):
        text = line.lstrip(" ")
        indent = line[: len(line) - len(text)]
        out.append(filled(text, indent, indent + "  ") if text else "")
    return "\n".join(out)


@rules_command.command("check")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@shared
def check_command(folder: Path | None, workspace: str | None, as_json: bool) -> int:
    """Read every rule file, say all that is wrong, and run the files' own examples.

    \b
    FOLDER: a rules folder to check instead of the workspace's.
    Examples:
      useledger rules check
      useledger rules check "our firm/rules"
    """
    from ledger.flow.examples import run_examples
    from ledger.rulebook.reading import read_book
    from ledger.rulefile import gather, shipped_rules

    if folder is not None:
        if not folder.is_dir():
            stop(f"{folder} is not a folder of rule files")
        if next(folder.rglob("*.toml"), None) is None:
            stop(f"{folder} holds no rule file; name a folder with labels/, jurisdictions/ ...")
        book = read_book(gather(shipped_rules(), folder, None).files)
    else:
        _, book = _book(workspace)
    # Without its units or words no rule can be read: what follows from that is not told.
    vital = [fault for fault in book.faults if fault.origin.file in {"units.toml", "words.toml"}]
    failed = () if vital else run_examples(book)
    examples = 0 if vital else sum(len(file.examples) for file in _files(book))
    faults = [*(vital or book.faults), *failed]
    if as_json:
        print_json({
            "files": len(book.texts), "examples": examples,
            "faults": [fault_json(fault) for fault in faults],
        })  # fmt: skip
    else:
        for fault in faults:
            click.echo(render_fault(fault))
        none = counted(len(faults), "fault") if faults else "no fault"
        files, ran = counted(len(book.texts), "file"), counted(examples, "example")
        click.echo(f"{none} in {files}; {ran} run")
        if vital:
            click.echo("The other files were not checked: they are read by these lists.")
    return COULD_NOT if faults else DONE


@rules_command.command("copy")
@click.argument("name", metavar="ID")
@shared
def copy_command(name: str, workspace: str | None, as_json: bool) -> int:
    """Copy a shipped rule file into the workspace, to be edited there.

    \b
    The workspace's file then replaces the shipped one of the same id.
    Example:
      useledger rules copy us-ca
    """
    from ledger.flow.workspace import RULES_FOLDER, find_root, read_rules
    from ledger.rulefile import shipped_rules

    root = find_root(workspace)
    shipped = read_rules(None, whole=True)
    files: list[Any] = [*_files(shipped), *shipped.forms]
    found = [file for file in files if file.id == name]
    if not found:
        stop(f'there is no shipped rule file "{name}"; {_near(name, [f.id for f in files])}')
    copied: list[str] = []
    for file in found:
        target = root / RULES_FOLDER / file.path
        if target.exists():
            stop(f"{target} is there already; edit it, or move it away first")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(shipped_rules() / file.path, target)
        copied.append(str(target))
    if as_json:
        print_json({"copied": copied})
    else:
        click.echo("\n".join(f"{path}: edit it, then run useledger rules check" for path in copied))
    return DONE
