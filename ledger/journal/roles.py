"""The statements that make a PostgreSQL role which can read and add entries, and nothing else.

The owner of the tables keeps to setting up, upgrades and disposal; people record as this role.
"""

from __future__ import annotations

import re

TABLES = ("journal", "private", "blob", "place")


def role_statements(role: str, database: str) -> tuple[str, ...]:
    """Return the statements, to be run by the owner; ValueError for a name that needs quoting."""
    for name in (role, database):
        if not re.fullmatch(r"[a-z_][a-z0-9_]*", name):
            raise ValueError(f"{name!r} is not a plain name")
    return (
        f"CREATE ROLE {role} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;",
        f"GRANT CONNECT ON DATABASE {database} TO {role};",
        f"REVOKE CREATE ON SCHEMA public FROM PUBLIC, {role};",
        f"GRANT USAGE ON SCHEMA public TO {role};",
        f"GRANT SELECT, INSERT ON {', '.join(TABLES)} TO {role};",
        f"GRANT SELECT ON alembic_version TO {role};",
    )
