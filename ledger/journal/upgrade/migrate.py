"""Running the migrations with Alembic, on a connection of the program's own."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection

from ledger.journal import guard
from ledger.journal.problem import StoreProblem


def migrations_folder() -> Path:
    """Return where the migrations are: in the installed package, else beside it."""
    package = Path(__file__).resolve().parents[2]
    for folder in (package / "shipped" / "migrations", package.parent / "migrations"):
        if (folder / "env.py").is_file():
            return folder
    raise StoreProblem("the migrations are missing from this installation", "install it again")


def run_migrations(connection: Connection, revision: str = "head") -> None:
    """Bring the schema to a revision within the caller's transaction, then set the guard."""
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
    guard.install(connection)
    wrong = guard.missing(connection)
    if wrong:
        raise StoreProblem(
            f"the guard does not stand after the migration: {'; '.join(wrong)}",
            "nothing was changed; tell the makers of useledger",
        )
