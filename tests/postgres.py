"""A PostgreSQL server of the tests' own: the system's programs, a folder of its own, no network.

It listens on a Unix socket only, runs as an unprivileged user where the tests run as root, and
is stopped and removed at the end. Databases are made one a test.
"""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import stat
import subprocess
import tempfile
from pathlib import Path

REQUIRED = "USELEDGER_REQUIRE_POSTGRES"
"""Set to 1, a missing server is a failure and no skip."""

USER = "ledger"


QUICK = (
    "fsync=off", "full_page_writes=off", "synchronous_commit=off", "autovacuum=off",
    "wal_level=minimal", "max_wal_senders=0", "checkpoint_timeout=1h",
)  # fmt: skip
"""A test's server need not outlive a power failure."""


class NoServer(Exception):  # noqa: N818 - it is a state of the machine
    """There is no PostgreSQL to start here."""


def programs() -> Path:
    """Return the folder of initdb and pg_ctl: on the path, else the newest Debian keeps."""
    found = shutil.which("initdb")
    if found and shutil.which("pg_ctl"):
        return Path(found).resolve().parent
    kept = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if not kept:
        raise NoServer("initdb and pg_ctl were not found; install a PostgreSQL server")
    return max(kept, key=lambda path: [int(part) for part in path.parent.name.split(".")])


def open_folder() -> Path:
    """Return a folder for temporary files that any user may enter."""
    wanted = Path(tempfile.gettempdir()).resolve()
    entered = all(part.stat().st_mode & stat.S_IXOTH for part in (wanted, *wanted.parents))
    # A socket's path may have about a hundred bytes.
    return wanted if entered and len(str(wanted)) < 60 else Path("/tmp")


def other_user() -> pwd.struct_passwd | None:
    """Return whom to run the server as: None for oneself; PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise NoServer("the tests run as root and there is no user postgres or nobody")


class Server:
    """A running server; ``stop`` removes it with all its data."""

    def __init__(self) -> None:
        self._bin = programs()
        self._user = other_user()
        self._count = itertools.count(1)
        self.folder = Path(tempfile.mkdtemp(prefix="useledger-pg-", dir=open_folder()))
        self._data = self.folder / "data"
        try:
            if self._user is not None:
                os.chown(self.folder, self._user.pw_uid, self._user.pw_gid)
            self._run(
                "initdb", "-D", str(self._data), "-U", USER, "-A", "trust", "--no-sync",
                "-E", "UTF8", "--locale=C",
            )  # fmt: skip
            options = f"-k {self.folder} -c listen_addresses='' -c max_connections=50" + "".join(
                f" -c {setting}" for setting in QUICK
            )
            log = str(self.folder / "log")
            self._run("pg_ctl", "-D", str(self._data), "-l", log, "-w", "-o", options, "start")
        except BaseException:
            shutil.rmtree(self.folder, ignore_errors=True)
            raise

    def _run(self, program: str, *arguments: str) -> None:
        command = [str(self._bin / program), *arguments]
        if self._user is not None:
            who = [f"--reuid={self._user.pw_uid}", f"--regid={self._user.pw_gid}"]
            if shutil.which("setpriv"):
                command = ["setpriv", *who, "--clear-groups", *command]
            else:
                command = ["runuser", "-u", self._user.pw_name, "--", *command]
        done = subprocess.run(
            command, cwd=self.folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
            text=True, timeout=120, check=False,
        )  # fmt: skip
        if done.returncode:
            raise NoServer(f"{program} failed: {done.stderr.strip()}")

    def url(self, database: str) -> str:
        """Return the URL of a database here."""
        return f"postgresql+psycopg://{USER}@/{database}?host={self.folder}"

    def new_database(self) -> str:
        """Make an empty database and return its name."""
        name = f"t{os.getpid()}_{next(self._count)}"
        self._command(f"CREATE DATABASE {name} TEMPLATE template0")
        return name

    def drop_database(self, name: str) -> None:
        """Remove a database, whoever is still connected."""
        self._command(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def _command(self, statement: str) -> None:
        import psycopg

        where = {"host": str(self.folder), "user": USER, "dbname": "postgres"}
        with psycopg.connect(autocommit=True, **where) as connection:
            connection.execute(statement)

    def stop(self) -> None:
        """Stop the server and remove its folder."""
        try:
            self._run("pg_ctl", "-D", str(self._data), "-m", "immediate", "-w", "stop")
        finally:
            shutil.rmtree(self.folder, ignore_errors=True)
