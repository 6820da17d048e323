"""The command line. Commands load when they are used, so that help starts at once."""

from __future__ import annotations

import importlib

import click

from ledger.values.version import VERSION

_READERS = "the licensee and the inspector"

COMMANDS: dict[str, tuple[str, str, str]] = {
    "init": ("setting_up", "setting up", "Make a workspace for a firm."),
    "demo": ("demo", "setting up", "Make an invented firm's month, filed and proved."),
    "template": ("setting_up", "setting up", "Write an empty day sheet, for a screen or a pen."),
    "rules": ("rules", "setting up", "List, show, check or copy rule files."),
    "people": ("people", "setting up", "List people, licences, training, tools."),
    "sites": ("sites", "setting up", "List sites, and answer whether two are the same place."),
    "prepare": ("prepare", "the applicator", "Before the job: may I, how much, how, when again."),
    "carry-over": ("carrying", "setting up", "Carry over years kept in a spreadsheet."),
    "stock": ("stock", "setting up", "The stock account; receive, move, count, dispose."),
    "notice": ("notice", "the applicator", "The customer's paper that the law asks for."),
    "check": ("applicator", "the applicator", "Read and judge day sheets; book nothing."),
    "record": ("applicator", "the applicator", "Book day sheets."),
    "held": ("held", "the applicator", "Show, put right or drop held lines."),
    "incident": ("incident", "the applicator", "Call for help first; then record what happened."),
    "close": ("applicator", "the applicator", "Close a day and print its seal code."),
    "amend": ("correcting", "the applicator", "Correct a booked record; the original stays."),
    "strike": ("correcting", "the applicator", "Strike a record that should not exist."),
    "due": ("due", "the applicator", "What is overdue, and what falls due."),
    "entries": ("entries", _READERS, "List what was applied."),
    "summary": ("periods", _READERS, "Sum a month for a use report."),
    "file": ("periods", _READERS, "Register a period's report as filed."),
    "filings": ("periods", _READERS, "List what was filed, owed or overtaken."),
    "audit": ("audit", _READERS, "Judge everything again; what is missing, late or owed."),
    "answer": ("answering", _READERS, "Answer a finding: the reason and what was done."),
    "trace": ("reading", _READERS, "Tell one entry's whole story."),
    "packet": ("packet", _READERS, "Write what an inspector asks for."),
    "prove": ("packet", _READERS, "Prove one entry, to be checked without the ledger."),
    "verify": ("reading", _READERS, "Prove the ledger whole."),
    "backup": ("keeping", "the keeper", "Write a verified copy of the ledger."),
    "restore": ("moving", "the keeper", "Make a workspace from a backup."),
    "export": ("moving", "the keeper", "Write the ledger in open formats; move it elsewhere."),
    "import": ("moving", "the keeper", "Take an exported ledger up in a new workspace."),
    "keep": ("retention", "the keeper", "Show how long records are kept; order to keep longer."),
    "dispose": ("retention", "the keeper", "List, and destroy, texts that are past their day."),
    "attach": ("retention", "the keeper", "Keep a file with an entry."),
    "upgrade": ("keeping", "the keeper", "Bring an older ledger to this version's form."),
}  # fmt: skip
"""Command: the module below ``ledger.cli`` that holds it, whose it is, and its help line."""

EPILOG = """\b
A day, a month, a proof:
  useledger init "my firm"           a workspace; edit useledger.toml in it
  useledger template day.xlsx        an empty day sheet
  useledger check day.xlsx           what would be booked, held or found
  useledger record day.xlsx          book it
  useledger close 2026-01-14 --by K  close the day
  useledger summary 2026-01          the month for the use report
  useledger verify                   is the ledger whole?

Exit codes: 0 done, 1 done with something held, found or owed, 2 could not do it.
Records do not replace the label: read the label in hand, follow local law.
"""


class LazyGroup(click.Group):
    """A group that knows its commands by name and imports one only when it runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the commands in the order of a day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Return the command, loading its module now."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"ledger.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_") + "_command")
        return command

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Take the arguments up; none may hold a NUL, which no file's name and no text can."""
        if any("\0" in arg for arg in args):
            ctx.fail("an argument holds a NUL character; type it again without it")
        return super().parse_args(ctx, args)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or name the nearest one."""
        name = args[0] if args else ""
        if name and not name.startswith("-") and name not in COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(name, COMMANDS, n=1)
            hint = f'did you mean "{near[0]}"?' if near else "see useledger --help"
            ctx.fail(f'there is no command "{name}"; {hint}')
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the commands by whose they are."""
        groups: dict[str, list[tuple[str, str]]] = {}
        for name, (_, whose, line) in COMMANDS.items():
            groups.setdefault(whose, []).append((name, line))
        for whose, rows in groups.items():
            with formatter.section(f"For {whose}"):
                formatter.write_dl(rows)


@click.group(cls=LazyGroup, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="useledger")
def main() -> None:
    """A pesticide application ledger: close out a day, file a period, read the past."""
