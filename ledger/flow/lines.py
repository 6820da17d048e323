"""What becomes of each line of a sheet: taken already, booked, or held, and with which question."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ledger.flow.disposals import day_of
from ledger.flow.judging import booked
from ledger.journal import Reader
from ledger.normalise.line import Normalised, held_identity
from ledger.values.draft import Draft
from ledger.values.entry import Application
from ledger.values.finding import Fault
from ledger.values.sealed import EntryKind, Sealed

BOOKED = (EntryKind.APPLICATION, EntryKind.AMENDMENT)
LINES = (*BOOKED, EntryKind.HELD)


@dataclass(frozen=True, slots=True)
class Line:
    """One line with its fate.

    ``state`` is ``booked``, ``held`` or ``taken``. ``copy`` counts equal lines of one sheet from
    1. ``clears`` is the held line that this one puts right; ``same_as`` the entry it equals.
    """

    number: int
    normalised: Normalised
    state: str
    identity: str
    own: str | None
    copy: int
    faults: tuple[Fault, ...] = ()
    clears: int | None = None
    same_as: int | None = None

    @property
    def draft(self) -> Draft:
        """The line as read."""
        return self.normalised.draft

    @property
    def use(self) -> Application | None:
        """The line as understood, or None where it is held for its facts."""
        return self.normalised.application


def content_of(lines: Sequence[Normalised]) -> str:
    """Return what makes two files the same sheet: the digest of their lines, in any order."""
    return content_of_identities(line.identity for line in lines)


def content_of_identities(identities: Iterable[str]) -> str:
    """Return the same from the lines' identities."""
    return hashlib.sha256("\n".join(sorted(identities)).encode()).hexdigest()


def same_sheets(reader: Reader, digest: str, content: str) -> frozenset[str]:
    """Return the digests of all files received that are this sheet, saved however.

    An empty ``content`` says that no other file can be.
    """
    if not content:
        return frozenset({digest})
    earlier = (
        entry.body["digest"]
        for entry in reader.by_identity(content)
        if entry.kind is EntryKind.SHEET
    )
    return frozenset({digest, *earlier})


@dataclass(frozen=True)
class Known:
    """What the ledger holds about the lines of a sheet, asked for once.

    ``identities`` and ``owns`` map to the entries that have them; ``open_held`` are the held
    lines that still wait; ``cells`` are the identities of the lines' cells, in their order;
    ``disposed`` is the day of the newest disposal, None without one.
    """

    reader: Reader
    sheets: frozenset[str]
    identities: Mapping[str, tuple[Sealed, ...]]
    owns: Mapping[str, tuple[Sealed, ...]]
    open_held: frozenset[int]
    cells: Sequence[str]
    disposed: date | None = None


def known_of(reader: Reader, items: Sequence[Normalised], sheets: frozenset[str]) -> Known:
    """Return what the ledger holds about these lines; ``sheets`` are this sheet's digests."""
    cells = [
        held_identity(item.draft) if item.application is not None else item.identity
        for item in items
    ]
    return Known(
        reader,
        sheets,
        reader.by_identities({*cells, *(item.identity for item in items)}),
        reader.by_owns(item.own for item in items if item.own),
        frozenset(entry.seq for entry in reader.held_open()),
        cells,
        max((day_of(entry) for entry in reader.entries(kinds=(EntryKind.DISPOSAL,))), default=None),
    )


def sort_out(
    known: Known,
    normalised: Sequence[Normalised],
    today: date,
    copies: Counter[str] | None = None,
) -> list[Line]:
    """Return every line with its fate.

    ``copies`` counts equal lines; a run in batches hands the same counter in each time.
    """
    copies = Counter() if copies is None else copies
    fates: list[Line] = []
    for number, item in enumerate(normalised, start=1):
        identity = item.identity
        copies[identity] += 1
        line = Line(number, item, "booked", identity, item.own, copies[identity])
        fates.append(_fate(known, line, today))
    return fates


def _fate(known: Known, line: Line, today: date) -> Line:
    equal = [entry for entry in known.identities.get(line.identity, ()) if entry.kind in LINES]
    same = [entry for entry in equal if _same_line(entry, line, known.sheets)]
    if line.copy <= len(same):
        return _taken(line, same[line.copy - 1].seq)
    faults = line.normalised.faults
    if line.use is not None:
        faults += tuple(_future(line, today))
        twin = _held_twin(known, line)
        if twin is not None and not faults:
            seq, still_open = twin
            return replace(line, clears=seq) if still_open else _taken(line, seq)
        faults += tuple(_question(known, line, [entry for entry in equal if entry not in same]))
    if faults:
        return replace(line, state="held", faults=faults)
    return line


def _taken(line: Line, seq: int) -> Line:
    return replace(line, state="taken", same_as=seq)


def _same_line(entry: Sealed, line: Line, sheets: frozenset[str]) -> bool:
    if entry.body["sheet"] in sheets:
        return True
    own = entry.body["own"]
    return own is not None and own == line.own


def _held_twin(known: Known, line: Line) -> tuple[int, bool] | None:
    """Return the held line that this one puts right, and whether it is still open.

    A twin is the same row of the same sheet (it could not be read then and can be now), or the
    line of the same applicator and day with the same own number.
    """
    rows = [
        entry.seq
        for entry in known.identities.get(known.cells[line.number - 1], ())
        if entry.kind is EntryKind.HELD and entry.body["sheet"] in known.sheets
    ]
    numbered = known.owns.get(line.own, ()) if line.own else ()
    for seq in (*rows, *(entry.seq for entry in numbered if entry.kind is EntryKind.HELD)):
        if seq in known.open_held:
            return seq, True
    return (rows[0], False) if rows else None


def _future(line: Line, today: date) -> list[Fault]:
    use = line.use
    if use is None or use.date <= today + timedelta(days=1):
        return []
    return [
        Fault(
            "DATE-FUTURE", line.draft.at("date"),
            f"{use.date} has not come yet (today is {today})",
            "correct the date; work is recorded after it is done",
        )
    ]  # fmt: skip


_SAME_OR_SECOND = (
    'the same: `useledger held drop N --because "the same"`; a second one: '
    "`useledger held fix N --second`"
)


def _question(known: Known, line: Line, elsewhere: list[Sealed]) -> list[Fault]:
    """Return the question to ask about a line that equals or changes one of another sheet."""
    assert line.use is not None
    live = [entry for entry in elsewhere if entry.kind in BOOKED]
    if live:
        return [
            Fault(
                "LINE-AGAIN", line.draft.origin,
                f"equals entry {live[0].seq} of another sheet: the same, or a second one?",
                _SAME_OR_SECOND,
            )
        ]  # fmt: skip
    twin = _changed_twin(known, line)
    if twin is None:
        return _of_disposed(known, line)
    seq, changes = twin
    return [
        Fault(
            "LINE-CHANGED", line.draft.origin,
            f"entry {seq} is the same line as booked before, with other values ({changes})",
            "to correct it: `useledger held fix N --amends "
            f"{seq} --because ... --by ...`; if it is another application: `useledger held fix N "
            "--second`",
        )
    ]  # fmt: skip


def _of_disposed(known: Known, line: Line) -> list[Fault]:
    """Return the question about a line that may be the record of a sheet that was disposed of.

    With the address went what would tell the site, so such a line comes out as one of another
    site; the facts that stay (day, times, person, product, amount, method) can still be compared.
    """
    use = line.use
    if use is None or known.disposed is None or use.date >= known.disposed:
        return []
    found = known.reader.entries(
        kinds=BOOKED, current_only=True, date_from=use.date, date_to=use.date,
        applicator=use.applicator, product_key=use.product_key,
    )  # fmt: skip
    for entry in found:
        if entry.private is None and _kept_facts(booked(entry).use) == _kept_facts(use):
            return [
                Fault(
                    "LINE-DISPOSED", line.draft.origin,
                    f"entry {entry.seq}, whose address was disposed of by law, has the same day, "
                    "times, person, product and amount: the same, or a second one?",
                    _SAME_OR_SECOND,
                )
            ]  # fmt: skip
    return []


def _kept_facts(use: Application) -> tuple[object, ...]:
    amount = use.amount
    quantity = (amount.quantity.value, amount.quantity.unit, amount.basis)
    return use.start, use.end, use.end_day, use.method, use.setting, use.places, quantity


def _changed_twin(known: Known, line: Line) -> tuple[int, str] | None:
    """Return the entry of another sheet that this line seems to correct, and what it changes.

    Two lines of one sheet are two lines, also where the first was booked a batch earlier.
    """
    use = line.use
    assert use is not None
    if line.own is not None:
        earlier = [
            known.reader.newest_version(entry.seq)
            for entry in known.owns.get(line.own, ())
            if entry.kind in BOOKED and entry.body["sheet"] not in known.sheets
        ]
        earlier = [entry for entry in earlier if entry.kind in BOOKED]
    else:
        earlier = [
            entry
            for entry in known.reader.at_site(use.site)
            if entry.body["sheet"] not in known.sheets
            and entry.body["date"] == use.date.isoformat()
            and entry.body["product_key"] == use.product_key
            and booked(entry).use.method == use.method
            and booked(entry).use.start == use.start
            and entry.body["applicator"] == use.applicator
        ]
        if len(earlier) != 1:
            return None
    if not earlier:
        return None
    return earlier[0].seq, changes_between(booked(earlier[0]).use, use)


SHOWN: tuple[tuple[str, Callable[[Application], str]], ...] = (
    ("date", lambda use: use.date.isoformat()),
    ("start", lambda use: str(use.start or "")),
    ("end", lambda use: str(use.end or "")),
    ("applicator", lambda use: use.applicator),
    ("supervisor", lambda use: use.supervisor),
    ("site", lambda use: use.site),
    ("product", lambda use: use.product),
    ("amount", lambda use: use.amount.text),
    ("basis", lambda use: str(use.amount.basis)),
    ("dilution", lambda use: use.dilution.text if use.dilution else ""),
    ("method", lambda use: use.method),
    ("setting", lambda use: use.setting),
    ("places", lambda use: "; ".join(use.places)),
    ("avoided", lambda use: "; ".join(item.place for item in use.avoided) or use.avoided_said),
    ("prepared", lambda use: "; ".join(use.prepared) or use.prepared_said),
    ("pests", lambda use: "; ".join(use.pests)),
    ("extent", lambda use: use.extent.text),
)
"""What a correction is said to change, in a person's words."""


def changes_between(old: Application, new: Application) -> str:
    """Return the differing fields of two versions in a person's words."""
    found = [
        f'{name} "{read(old)}" -> "{read(new)}"' for name, read in SHOWN if read(old) != read(new)
    ]
    return ", ".join(found) or "other details"
