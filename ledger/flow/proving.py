"""Inclusion proofs: that an entry stands under the root that a day close sealed.

A proof needs the entry's line, the close's line and some twenty hashes; no ledger. It shows that
the entry was there when the day was closed, and not that nothing else was.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.journal import Reader
from ledger.merkle import inclusion_proofs, sides
from ledger.seal import leaf, seal_code
from ledger.values.sealed import Sealed

FORMAT = 1

CAVEAT = (
    "Inclusion shows that these entries stand in the ledger as they are shown. It does not prove "
    "that nothing was left out: for that the whole ledger is verified (useledger verify)."
)


@dataclass(frozen=True)
class Proofs:
    """Paths to the root of one close, by entry; ``beyond`` are entries that no close covers yet."""

    close: Sealed | None
    paths: Mapping[int, tuple[str, ...]]
    beyond: tuple[int, ...]


def prove_entries(reader: Reader, seqs: Iterable[int]) -> Proofs:
    """Return the path of each entry to the root of the newest close."""
    wanted = sorted(set(seqs))
    closes = reader.closes()
    if not closes:
        return Proofs(None, {}, tuple(wanted))
    close = max(closes, key=lambda item: (item.body["size"], item.seq))
    size = close.body["size"]
    leaves: list[bytes] = []
    for text in reader.texts_since(0):
        if len(leaves) == size:
            break
        leaves.append(leaf(text))
    inside = [seq for seq in wanted if seq <= size]
    paths = inclusion_proofs(leaves, (seq - 1 for seq in inside))
    found = {seq: tuple(step.hex() for step in paths[seq - 1]) for seq in inside}
    return Proofs(close, found, tuple(seq for seq in wanted if seq > size))


def proof_values(entry: Sealed, proofs: Proofs) -> dict[str, Any]:
    """Return one entry's proof as plain values: complete, to be checked without the ledger."""
    close = proofs.close
    assert close is not None
    return {
        "format": FORMAT, "about": "inclusion of an entry in a ledger, RFC 9162 section 2.1.3",
        "entry": {"seq": entry.seq, "line": entry.text, "seal": entry.seal},
        "close": {
            "seq": close.seq, "line": close.text, "seal": close.seal,
            "code": seal_code(close.seal),
        },
        "index": entry.seq - 1, "size": close.body["size"], "root": close.body["root"],
        "path": list(proofs.paths[entry.seq]),
        "sides": list(sides(entry.seq - 1, close.body["size"])), "caveat": CAVEAT,
    }  # fmt: skip


def prove(workspace: Workspace, seq: int) -> dict[str, Any]:
    """Return the proof of one entry, or raise where no close covers it yet."""
    with workspace.store.reading() as reader:
        entry = sealed_entry(reader, seq)
        proofs = prove_entries(reader, [seq])
        if proofs.beyond:
            raise WorkspaceProblem(
                f"no close seals entry {seq} yet", "close its day first: useledger close DATE"
            )
        return proof_values(entry, proofs)
