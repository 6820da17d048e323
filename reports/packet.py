"""An inspector's packet as sheets: what is asked first stands first, every table plain."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from ledger.flow.lines import changes_between
from ledger.flow.listing import Listed
from ledger.flow.packet import WITHHELD, Packet, reason
from ledger.rulebook.book import Book
from ledger.rulebook.model import RuleFile
from ledger.seal import seal_code
from ledger.stock import TOLERANCE
from ledger.values.firm import Firm
from ledger.values.sealed import EntryKind, Sealed
from reports.packet_people import training_sheet
from reports.sheet import Column, Kind, Note, Number, Sheet, Value, number
from reports.stock import stock_sheet

_ENTRY = Column("Entry", "number in the ledger", Kind.NUMBER)
_DAY = Column("Date", "day of the work", Kind.DATE)
_SEALED = Column("Sealed", "UTC")


def packet_sheets(packet: Packet, book: Book) -> tuple[Sheet, ...]:
    """Return every section with something in it, in the order in which it is asked for."""
    about = (("Firm", book.firm.name), ("Licence", book.firm.licence),
             ("Selection", packet.selection.text))  # fmt: skip
    made = [
        _licences(book.firm, about),
        _log(packet, about, by_address=False),
        _log(packet, about, by_address=True),
        _records(packet, about),
        _cells(packet, about),
        _findings(packet, about),
        _seen(packet, about),
        _held(packet, about),
        _filed(packet, about),
        training_sheet(packet, book.firm, about),
        _stock(packet, book, about),
        _rules(packet, book, about),
        *(_other(packet, kind, entries, about) for kind, entries in packet.others().items()),
        _closes(packet, about),
    ]
    return tuple(made)


About = tuple[tuple[str, str], ...]


def _sheet(
    name: str,
    title: str,
    about: About,
    columns: Sequence[Column],
    rows: Iterable[tuple[Value, ...]],
) -> Sheet:
    listed = tuple(rows)
    return Sheet(
        name, title, about, tuple(columns), listed,
        statement="" if listed else "Nothing of this kind in this selection.",
        wide=len(columns) > 5,
    )  # fmt: skip


def _licences(firm: Firm, about: About) -> Sheet:
    columns = [Column(name) for name in
               ("Who", "What", "Number", "Place", "Work", "From", "To", "Under")]  # fmt: skip
    rows: list[tuple[Value, ...]] = [
        (firm.name, "registered", "", f"{item.jurisdiction}, {item.county}", "", str(item.year),
         str(item.year), "")
        for item in firm.registrations
    ]  # fmt: skip
    for person in firm.people:
        rows += [
            (person.name, licence.title, licence.number, licence.jurisdiction,
             ", ".join(licence.work), str(licence.span.start or ""), str(licence.span.end or ""),
             person.supervisor)
            for licence in person.licences
        ]  # fmt: skip
        if not person.licences:
            rows.append((person.name, "no licence", "", "", "", "", "", person.supervisor))
    return _sheet("licences", "Licences and registrations", about, columns, rows)


def _log(packet: Packet, about: About, *, by_address: bool) -> Sheet:
    columns = [
        _DAY, Column("Start"), Column("Address"), Column("Customer"), Column("Applicator"),
        Column("Product"), Column("Amount", "as written"), Column("Where"),
        Column("Findings", kind=Kind.NUMBER), Column("Remarks"), _ENTRY,
    ]  # fmt: skip
    rows = [row for row in packet.records if row.state == "current"]
    if by_address:
        columns.insert(0, columns.pop(2))
    key = _by_address if by_address else _by_day
    found: list[tuple[Value, ...]] = []
    for row in sorted(rows, key=key):
        cells: list[Value] = [
            row.use.date, _clock(row.use.start), _address(row), _customer(packet, row),
            row.use.applicator, row.use.product_name, row.use.amount.text,
            "; ".join(row.use.places), _count(len(row.findings)), _remarks(row),
            _count(row.sealed.seq),
        ]  # fmt: skip
        if by_address:
            cells.insert(0, cells.pop(2))
        found.append(tuple(cells))
    name = "log by address" if by_address else "log by day"
    return _sheet(name, f"The {name}", about, columns, found)


def _by_day(row: Listed) -> tuple[Any, ...]:
    return row.use.date, _clock(row.use.start), row.sealed.seq


def _by_address(row: Listed) -> tuple[Any, ...]:
    return _address(row), row.use.date, _clock(row.use.start), row.sealed.seq


def _records(packet: Packet, about: About) -> Sheet:
    columns = [
        Column("Record", "number of its first version", Kind.NUMBER), _ENTRY, Column("Version"),
        _DAY, Column("Address"), Column("Product"), Column("Registration"), Column("Used"),
        Column("Unit"), Column("Method"), Column("What changed"), Column("Because"), Column("By"),
        _SEALED,
    ]  # fmt: skip
    records = {row.sealed.seq: row for row in packet.records}
    strikes = {entry.replaces: entry for entry in packet.of(EntryKind.STRIKE)}
    first = {seq: _first(records, seq) for seq in records}
    rows: list[tuple[Value, ...]] = []
    for seq in sorted(records, key=lambda item: (first[item], item)):
        row = records[seq]
        before = records.get(row.sealed.replaces or 0)
        changed = changes_between(before.use, row.use) if before else ""
        rows.append((
            _count(first[seq]), _count(seq), "correction" if before else "original", row.use.date,
            _address(row), row.use.product_name, row.use.product_key,
            number(row.use.used.fraction), row.use.used.unit, row.use.method, changed,
            reason(row.sealed, packet.texts), row.sealed.by, _time(row.sealed),
        ))  # fmt: skip
        struck = strikes.get(seq)
        if struck is not None:
            rows.append((
                _count(first[seq]), _count(struck.seq), "struck", row.use.date, "", "", "", None,
                "", "", "the record should not exist", reason(struck, packet.texts), struck.by,
                _time(struck),
            ))  # fmt: skip
    return _sheet("records", "Application records: originals and corrections", about, columns, rows)


def _first(records: Mapping[int, Listed], seq: int) -> int:
    while seq in records and (before := records[seq].sealed.replaces) is not None:
        seq = before
    return seq


def _cells(packet: Packet, about: About) -> Sheet:
    columns = [_ENTRY, Column("Sheet"), Column("Row", kind=Kind.NUMBER), Column("Heading"),
               Column("As typed")]  # fmt: skip
    rows: list[tuple[Value, ...]] = []
    for entry in packet.of(EntryKind.APPLICATION, EntryKind.AMENDMENT, EntryKind.HELD):
        origin = entry.body["origin"]
        row = None if origin["row"] is None else _count(origin["row"])
        file = packet.file(entry)
        for heading, text in (packet.texts[entry.seq].get("cells") or {}).items():
            rows.append((_count(entry.seq), file, row, heading, str(text)))
    return _sheet("as typed", "Every cell as it was typed", about, columns, rows)


def _findings(packet: Packet, about: About) -> Sheet:
    columns = [_ENTRY, _DAY, Column("Kind"), Column("What was found"), Column("Rule and source")]
    rows = [
        (_count(row.sealed.seq), row.use.date, str(finding.kind), finding.text,
         "; ".join(f"{rule.file}:{rule.line} {rule.source} {rule.confidence}".strip()
                   for rule in finding.rules))
        for row in packet.records
        for finding in row.findings
    ]  # fmt: skip
    return _sheet("findings", "Findings of the newest judgement", about, columns, rows)


def _seen(packet: Packet, about: About) -> Sheet:
    columns = [_ENTRY, Column("Date"), Column("Kind"), Column("Place"), Column("What"),
               Column("Said to the customer")]  # fmt: skip
    texts = packet.texts
    rows: list[tuple[Value, ...]] = [
        (_count(entry.seq), str(entry.body.get("date") or texts[entry.seq].get("date", "")),
         "observation",
         *(str(texts[entry.seq].get(key, "")) for key in ("place", "condition", "advice")))
        for entry in packet.of(EntryKind.OBSERVATION)
    ]  # fmt: skip
    rows += [
        (_count(row.sealed.seq), row.use.date.isoformat(), "notice", _address(row),
         f"notice {row.use.notice} the work", "")
        for row in packet.records
        if row.use.notice and row.state == "current"
    ]  # fmt: skip
    return _sheet("observations and notices", "Observations and notices", about, columns, rows)


def _held(packet: Packet, about: About) -> Sheet:
    columns = [_ENTRY, Column("Sheet"), Column("What was wrong"), Column("What became of it"),
               _SEALED]  # fmt: skip
    cleared: dict[int, str] = {}
    for entry in packet.entries:
        if entry.kind is EntryKind.DROPPED and entry.refers:
            cleared[entry.refers] = f"dropped: {reason(entry, packet.texts)} (by {entry.by})"
        elif entry.body.get("clears"):
            cleared[int(entry.body["clears"])] = f"booked as entry {entry.seq}"
    rows = [
        (_count(entry.seq), f"{packet.file(entry)}:{entry.body['origin']['row']}",
         "; ".join(fault["what"] for fault in entry.body["faults"]),
         cleared.get(entry.seq, "still held"), _time(entry))
        for entry in packet.of(EntryKind.HELD)
    ]  # fmt: skip
    return _sheet("held lines", "Lines held, and what became of them", about, columns, rows)


def _filed(packet: Packet, about: About) -> Sheet:
    columns = [
        _ENTRY, Column("Period"), Column("To"), Column("Form"), Column("Filed"), Column("Due"),
        Column("Late"), Column("Open then"), Column("What has changed since"),
    ]  # fmt: skip
    rows: list[tuple[Value, ...]] = []
    for item in packet.filings:
        body = item.entry.body
        left = [*body["open_days"], *(f"held {seq}" for seq in body["held"])]
        changes = "; ".join(change.text for change in item.changes) or "nothing"
        rows.append((
            _count(item.entry.seq), body["period"], f"{body['jurisdiction']} {body['county']}",
            body["form"], body["filed_on"], body["due"] or "", "late" if body["late"] else "",
            ", ".join(left), changes if item.standing else f"filed again since; {changes}",
        ))  # fmt: skip
    note = (
        "Reports are of whole counties and speak of other places: none go with one address."
        if packet.selection.site
        else "The files as they were filed stand in the folder filed, by entry."
    )
    made = _sheet("reports as filed", "Reports as filed", about, columns, rows)
    return Sheet(
        made.name, made.title, about, made.columns, made.rows, statement=made.statement,
        notes=(Note(note),), wide=True,
    )  # fmt: skip


def _stock(packet: Packet, book: Book, about: About) -> Sheet:
    """Return the computed account; uses alone, without a movement or a count, make none."""
    selection = packet.selection
    kept = any(row.known for row in packet.stock)
    names = {product.key: product.name for product in book.lexicon().products}
    until = (("Account", f"from the beginning to {selection.date_to or 'today'}"),)
    made = stock_sheet(packet.stock if kept else (), names, TOLERANCE, (*about, *until))
    said = made.statement and (
        "The stock account is of the whole firm: none goes with one address."
        if selection.site
        else "No stock account is kept: no receipt, move, count or disposal is recorded."
    )
    return replace(made, name="stock account", statement=said)


_RULES = (
    Column("File"), Column("Kind of file"), Column("What"), Column("Registration"),
    Column("Version"), Column("From", "first day in force, where the file says one", Kind.DATE),
    Column("Until", "last day in force, where the file says one", Kind.DATE),
    Column("Lots", "that the file names for this version of the label"),
    Column("Lots used", "as the records of this selection name them"),
    Column("Checked on", kind=Kind.DATE), Column("Sources, and how each was read"),
)  # fmt: skip


def _rules(packet: Packet, book: Book, about: About) -> Sheet:
    lots: dict[str, dict[str, None]] = {}
    for row in packet.records:
        lots.setdefault(row.use.label, {}).update({row.use.lot: None} if row.use.lot else {})
    labels = [file for file in book.labels if file.product and file.product.digest in lots]
    places = dict.fromkeys(row.use.jurisdiction for row in packet.records) or [book.firm.home]
    laws = {law.path: law for place in places for law in book.laws_of(place)}
    rows = [
        _rule_row(file, tuple(lots.get(file.product.digest, ())) if file.product else ())
        for file in (*labels, *laws.values(), *book.practices)
    ]
    made = _sheet("rules and labels", "Labels on file and rules used", about, _RULES, rows)
    note = "The texts as they were used stand in the folder rules, by the digest of the whole set."
    return replace(made, notes=(Note(note),))


def _rule_row(file: RuleFile, used: tuple[str, ...]) -> tuple[Value, ...]:
    product = file.product
    sources = "; ".join(
        f"{item.title} {item.section} ({item.read})".replace("  ", " ") for item in file.sources
    )
    of_label: tuple[Value, ...] = ("", "", None, None, "")
    if product is not None:
        span = product.in_force
        of_label = (product.registration or "exempt", product.version, span.start, span.end,
                    ", ".join(product.lots))  # fmt: skip
    what = file.title if product is None else product.name
    return (file.path, file.family, what, *of_label, ", ".join(used), file.checked_on, sources)


def _other(packet: Packet, kind: str, entries: Sequence[Sealed], about: About) -> Sheet:
    columns = [_ENTRY, _SEALED, Column("By"), Column("About", "entry"), Column("What it says")]
    rows = [
        (_count(entry.seq), _time(entry), entry.by,
         "" if entry.refers is None else str(entry.refers),
         _said({**entry.body, **packet.texts[entry.seq]}))
        for entry in entries
    ]  # fmt: skip
    return _sheet(kind, f"Entries of the kind {kind}", about, columns, rows)


def _said(values: Mapping[str, Any]) -> str:
    return "; ".join(f"{key}: {_flat(value)}" for key, value in sorted(values.items()) if value)


def _flat(value: Any) -> str:  # noqa: ANN401 - JSON of any shape
    if isinstance(value, dict):
        return ", ".join(f"{key} {_flat(item)}" for key, item in value.items() if item)
    if isinstance(value, list):
        return ", ".join(_flat(item) for item in value)
    return str(value)


def _closes(packet: Packet, about: About) -> Sheet:
    columns = [_ENTRY, Column("Day"), Column("Entries before", kind=Kind.NUMBER),
               Column("Seal code"), Column("Seal"), _SEALED]  # fmt: skip
    rows = [
        (_count(entry.seq), entry.body["date"], _count(entry.body["size"]), seal_code(entry.seal),
         entry.seal, _time(entry))
        for entry in packet.of(EntryKind.CLOSE)
    ]  # fmt: skip
    return _sheet("seals", "Day closes and their seals", about, columns, rows)


def _count(value: int) -> Number:
    return Number(Fraction(value))


def _clock(value: Any) -> str:  # noqa: ANN401 - a time or None
    return value.isoformat("minutes") if value else ""


def _time(entry: Sealed) -> str:
    return entry.at.replace("T", " ")[:19]


def _address(row: Listed) -> str:
    if row.site is None:
        return row.use.site
    address = row.site.address
    parts = (address.street, address.unit, address.city, address.zip)
    return ", ".join(part for part in parts if part) or row.use.site


def _customer(packet: Packet, row: Listed) -> str:
    return WITHHELD if packet.selection.redact and row.use.customer else row.use.customer


def _remarks(row: Listed) -> str:
    said = ["recorded after the close"] if row.sealed.body.get("late") else []
    said += ["carried over, not judged"] if row.sealed.body.get("carried") else []
    said += ["corrected"] if row.sealed.replaces else []
    return "; ".join(said)
