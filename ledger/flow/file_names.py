"""The names of files handed in: in the private text, so that a disposal takes them along.

People call a sheet after a customer. Ledgers begun with an earlier version hold such names in the
lines that were sealed then; these are read as they stand.
"""

from __future__ import annotations

import json

from ledger.seal import read_json
from ledger.values.sealed import Sealed

FILE = "file"
"""The key of a private text under which the name of a file stands."""


def file_of(entry: Sealed) -> str:
    """Return the name of the file that an entry came from, or that it keeps.

    Where the name was disposed of, the file is called by the beginning of its digest.
    """
    origin = entry.body.get("origin")
    said = entry.body.get("name") if origin is None else origin.get("file")
    if said is None and entry.private:
        said = read_json(entry.private).get(FILE)
    if said is None:
        digest = str(entry.body.get("sheet") or entry.body.get("digest") or "")
        return f"{digest[:12]} (its name is disposed of)"
    return str(said)


def row_of(entry: Sealed) -> str:
    """Return where a line was read: the file, its page where it has several, and the row."""
    origin = entry.body["origin"]
    page = f" {origin['page']}" if origin["page"] else ""
    return f"{file_of(entry)}{page}:{origin['row']}"


def named_file(name: str) -> str:
    """Return the private text of an entry that keeps a file of this name."""
    return json.dumps({FILE: name}, ensure_ascii=True)
