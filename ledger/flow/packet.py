"""What is handed to an inspector: the records of a selection, with everything that belongs to them.

The selection of one address holds only that address: sheets, reports and judgements that speak of
other places stay out, and each entry is proved against a sealed root instead.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from ledger.flow.file_names import FILE, file_of
from ledger.flow.filing_register import Registered, list_filings
from ledger.flow.inspecting import reason_of
from ledger.flow.lines import BOOKED
from ledger.flow.listing import Listed, listed_of
from ledger.flow.proving import Proofs, prove_entries
from ledger.flow.stocking import stock_account
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.stock import Account
from ledger.values.sealed import EntryKind, Head, Sealed

OWN_SECTION = frozenset({
    *BOOKED, EntryKind.STRIKE, EntryKind.OBSERVATION, EntryKind.HELD, EntryKind.DROPPED,
    EntryKind.FILING, EntryKind.CLOSE, EntryKind.JUDGEMENT, EntryKind.RULES, EntryKind.SHEET,
    EntryKind.SITE, EntryKind.LEDGER, EntryKind.TRAINING, EntryKind.SIGN_OFF,
})  # fmt: skip
"""Kinds that have a section of their own; every other kind gets one under its own name."""

WITHHELD = "withheld"
_NAMED = ("customer", "customer_address", "customer address", "note", FILE)


@dataclass(frozen=True, slots=True)
class Selection:
    """What a packet is about; nothing chosen is the whole ledger."""

    date_from: date | None = None
    date_to: date | None = None
    site: str = ""
    redact: bool = False

    @property
    def whole(self) -> bool:
        """Whether everything is in it."""
        return not (self.date_from or self.date_to or self.site)

    @property
    def text(self) -> str:
        """The selection in a person's words."""
        days = f"{self.date_from or 'the beginning'} to {self.date_to or 'today'}"
        parts = ["the whole ledger"] if self.whole else []
        parts += [f"site {self.site}"] if self.site else []
        parts += [f"work of {days}"] if self.date_from or self.date_to else []
        parts += ["customers' names withheld"] if self.redact else []
        return "; ".join(parts)


@dataclass(frozen=True)
class Packet:
    """Everything of a selection, ready to be written.

    ``entries`` are the entries whose lines go along, in order; ``texts`` their private texts as
    they may be shown (names withheld where asked for). ``kept`` are files by path. ``stock`` is the
    account of the whole firm up to the last day; none goes with one address.
    """

    selection: Selection
    ledger: str
    head: Head
    entries: tuple[Sealed, ...]
    records: tuple[Listed, ...]
    filings: tuple[Registered, ...]
    proofs: Proofs
    texts: Mapping[int, Mapping[str, Any]] = field(hash=False)
    salts: Mapping[int, bytes] = field(hash=False)
    kept: Mapping[str, bytes] = field(hash=False)
    stock: tuple[Account, ...] = ()

    def of(self, *kinds: EntryKind) -> tuple[Sealed, ...]:
        """Return the entries of these kinds."""
        return tuple(entry for entry in self.entries if entry.kind in kinds)

    def file(self, entry: Sealed) -> str:
        """Return the name of an entry's file as it may be shown: it may say a customer's name."""
        return str(self.texts[entry.seq].get(FILE) or file_of(entry))

    def others(self) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries without a section of their own, by kind."""
        kinds = sorted({entry.kind for entry in self.entries if entry.kind not in OWN_SECTION})
        return {str(kind): self.of(kind) for kind in kinds}


def make_packet(workspace: Workspace, selection: Selection) -> Packet:
    """Gather a packet."""
    with workspace.store.reading() as reader:
        entries = tuple(_picked(reader, selection))
        seqs = {entry.seq for entry in entries}
        proofs = prove_entries(reader, seqs)
        close = proofs.close
        if close is not None and close.seq not in seqs:
            entries = tuple(sorted((*entries, close), key=lambda entry: entry.seq))
        names = _names(entries) if selection.redact else ()
        texts = {entry.seq: _shown(entry, names, redact=selection.redact) for entry in entries}
        salts = {} if selection.redact else {
            seq: salt for seq, salt, _ in reader.privates() if seq in seqs
        }  # fmt: skip
        kept = dict(_kept(reader, entries, selection))
        head, ledger = reader.head, reader.ledger_id
    records = tuple(listed_of(workspace, [item for item in entries if item.kind in BOOKED]))
    filings = () if selection.site else tuple(
        item for item in list_filings(workspace)[0] if item.entry.seq in seqs
    )  # fmt: skip
    stock = () if selection.site else stock_account(workspace, until=selection.date_to)
    return Packet(
        selection, ledger, head, entries, records, filings, proofs, texts, salts, kept, stock
    )


def _picked(reader: Reader, selection: Selection) -> Iterator[Sealed]:
    """Yield the entries of a selection in the order of the journal."""
    if selection.whole:
        yield from reader.entries()
        return
    filters: dict[str, Any] = {"date_from": selection.date_from, "date_to": selection.date_to}
    if selection.site:
        filters["site"] = selection.site
    found: dict[int, Sealed] = {1: reader.entry(1)}
    dated = [entry for entry in reader.entries(**filters) if _belongs(entry, selection)]
    for entry in dated:
        versions = reader.versions(entry.seq) if entry.kind in BOOKED else (entry,)
        for item in (*versions, *(late for one in versions for late in reader.referring(one.seq))):
            if _belongs(item, selection):
                found[item.seq] = item
    for entry in tuple(found.values()):
        for judgement in reader.judgements(entry.seq) if entry.kind in BOOKED else ():
            inside = range(judgement.body["first"], judgement.body["last"] + 1)
            if not selection.site or all(seq in found for seq in inside):
                found[judgement.seq] = judgement
    found.update(_beside(reader, selection, found))
    yield from (found[seq] for seq in sorted(found))


def _belongs(entry: Sealed, selection: Selection) -> bool:
    """Say whether an entry may be shown with one address: not where it speaks of other places."""
    return not selection.site or entry.kind not in {
        EntryKind.CLOSE, EntryKind.FILING, EntryKind.SHEET, EntryKind.HELD, EntryKind.JUDGEMENT,
        EntryKind.AUDIT, EntryKind.DISPOSAL,
    }  # fmt: skip


def _beside(reader: Reader, selection: Selection, found: Mapping[int, Sealed]) -> dict[int, Sealed]:
    """Return the sites, sheets, rules, trainings and filings that belong to the found entries.

    A training before the chosen days belongs to them where its person worked on them.
    """
    sites = {entry.body.get("site") for entry in found.values()}
    sheets = {entry.body.get("sheet") for entry in found.values()}
    rules = {e.body.get("rules") for e in found.values() if e.kind is EntryKind.JUDGEMENT}
    beside: dict[int, Sealed] = {}
    for entry in reader.entries(kinds=(EntryKind.SITE,)):
        if entry.body["site"] in sites and (not selection.site or entry.body["site"] is not None):
            beside[entry.seq] = entry
    for entry in reader.entries(kinds=(EntryKind.RULES,)):
        if entry.body["digest"] in rules or selection.site:
            beside[entry.seq] = entry
    if selection.site:
        return beside
    for entry in reader.entries(kinds=(EntryKind.SHEET,)):
        if entry.body["digest"] in sheets:
            beside[entry.seq] = entry
    people = {entry.body["applicator"] for entry in found.values() if entry.kind in BOOKED}
    for entry in reader.entries(kinds=(EntryKind.TRAINING,), date_to=selection.date_to):
        if entry.body["person"] in people:
            beside.update({item.seq: item for item in (entry, *reader.referring(entry.seq))})
    first = str(selection.date_from or "")[:7]
    last = str(selection.date_to or "9999")[:7]
    for entry in reader.filings():
        if first[:4] <= entry.body["period"] and entry.body["period"][:7] <= last:
            beside[entry.seq] = entry
    return beside


def _private(entry: Sealed) -> dict[str, Any]:
    value = json.loads(entry.private) if entry.private else {}
    return value if isinstance(value, dict) else {"text": value}


def _names(entries: Iterable[Sealed]) -> tuple[str, ...]:
    """Return every customer's name that stands in the entries, longest first."""
    found: set[str] = set()
    for entry in entries:
        said = _private(entry)
        cells = said.get("cells") or {}
        found |= {str(said.get("customer") or ""), str(cells.get("customer") or "")}
    return tuple(sorted((name for name in found if name.strip()), key=len, reverse=True))


def _shown(entry: Sealed, names: Sequence[str], *, redact: bool) -> dict[str, Any]:
    """Return the private text of an entry as it may be shown."""
    said = _private(entry)
    return said if not redact else _withheld(said, names)


def _withheld(value: Any, names: Sequence[str]) -> Any:  # noqa: ANN401 - JSON in, JSON out
    if isinstance(value, dict):
        return {
            key: WITHHELD if key in _NAMED and item else _withheld(item, names)
            for key, item in value.items()
        }
    if isinstance(value, list):
        return [_withheld(item, names) for item in value]
    if isinstance(value, str):
        for name in names:
            value = re.sub(re.escape(name), WITHHELD, value, flags=re.IGNORECASE)
    return value


def _kept(
    reader: Reader, entries: Iterable[Sealed], selection: Selection
) -> Iterator[tuple[str, bytes]]:
    """Yield the files that go along, by path: rule texts, sheets, filed copies, attachments."""
    for entry in entries:
        for path, digest in _files_of(entry):
            outside = path.startswith(("received/", "filed/", "attached/"))
            names_customers = path.startswith(("received/", "attached/"))
            if (selection.site and outside) or (selection.redact and names_customers):
                continue
            data = reader.blob(digest)
            if data is not None:
                yield path, data


def _files_of(entry: Sealed) -> Iterator[tuple[str, str]]:
    body = entry.body
    if entry.kind is EntryKind.RULES:
        for item in body["files"]:
            parts = [file_name(part) for part in item["path"].split("/")]
            yield f"rules/{body['digest'][:16]}/{'/'.join(parts)}", item["digest"]
    elif entry.kind is EntryKind.SHEET:
        yield f"received/{entry.seq}-{file_name(file_of(entry))}", body["digest"]
    elif entry.kind is EntryKind.FILING:
        yield f"filed/{entry.seq}/report.json", body["report"]
        for name, digest in (body.get("copies") or {}).items():
            yield f"filed/{entry.seq}/{file_name(name)}", digest
    elif entry.kind is EntryKind.ATTACHMENT:
        yield f"attached/{entry.seq}-{file_name(file_of(entry))}", body["digest"]


def file_name(text: str) -> str:
    """Return a file name that stays in its folder on every system, near to the one given."""
    clean = re.sub(r"[^\w. -]", "_", text, flags=re.UNICODE).strip(" .")[:80]
    return clean or "file"


def reason(entry: Sealed, texts: Mapping[int, Mapping[str, Any]]) -> str:
    """Return the reason given for an entry, as it may be shown."""
    return str(texts.get(entry.seq, {}).get("because", "")) if entry.private else reason_of(entry)
