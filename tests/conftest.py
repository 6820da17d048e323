"""What the tests share: databases of both engines, and a ledger to write in."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from ledger.journal import Store, create
from tests import postgres
from tests.journal_data import FIRM, TickingClock, counted_salts

if "CI" not in os.environ:  # there, hypothesis sets such a profile of its own
    settings.register_profile("steady", deadline=None)  # a slow machine is no fault
    settings.load_profile("steady")


BOTH = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[postgres.Server]:
    try:
        server = postgres.Server()
    except postgres.NoServer as reason:
        if os.environ.get(postgres.REQUIRED) == "1":
            pytest.fail(f"{postgres.REQUIRED}=1, but {reason}")
        pytest.skip(f"no PostgreSQL server: {reason}")
    yield server
    server.stop()


@pytest.fixture(params=BOTH)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an empty database, one run on each engine."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'ledger.db'}"
        return
    server: postgres.Server = request.getfixturevalue("postgres_server")
    name = server.new_database()
    yield server.url(name)
    server.drop_database(name)


@pytest.fixture(params=BOTH)
def server(request: pytest.FixtureRequest) -> Iterator[str]:
    """What a firm file says of its database: nothing (a file of its own), or a server's URL."""
    yield from _server(request)


@pytest.fixture(scope="module", params=BOTH)
def module_server(request: pytest.FixtureRequest) -> Iterator[str]:
    """The same, one for all tests of a module."""
    yield from _server(request)


def _server(request: pytest.FixtureRequest) -> Iterator[str]:
    if request.param == "sqlite":
        yield ""
        return
    running: postgres.Server = request.getfixturevalue("postgres_server")
    name = running.new_database()
    yield running.url(name)
    running.drop_database(name)


@pytest.fixture
def sqlite_database(tmp_path: Path) -> str:
    """The URL of an SQLite database that is not there yet."""
    return f"sqlite:///{tmp_path / 'ledger.db'}"


@pytest.fixture
def store(database: str) -> Iterator[Store]:
    """A new ledger with nothing but its first entry, on each engine."""
    made = create(
        database, firm=FIRM, clock=TickingClock(), salts=counted_salts(), os_user="tester"
    )
    yield made
    made.close()


@pytest.fixture
def sqlite_store(sqlite_database: str) -> Iterator[Store]:
    """A new SQLite ledger with nothing but its first entry."""
    made = create(
        sqlite_database, firm=FIRM, clock=TickingClock(), salts=counted_salts(), os_user="tester"
    )
    yield made
    made.close()
