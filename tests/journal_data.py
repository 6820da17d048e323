"""A small invented ledger for the journal's tests: the same entries, clock and salts every time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from ledger.journal import Store, StoreProblem, Writer, open_store
from ledger.journal.verify import verify
from ledger.merkle import Tree
from ledger.values.sealed import EntryKind, NewEntry, Sealed

FIRM = "Foothill Household Pest Service"
COUNTIES = ("Placer", "Nevada")


class TickingClock:
    """A clock that starts on a winter's evening and moves on a little at each look."""

    def __init__(self) -> None:
        self.now = datetime(2026, 1, 14, 17, 5, 9, 120_003, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1, microseconds=17)
        return self.now


def counted_salts() -> Callable[[], bytes]:
    """Return salts that are the same in every run, and all different."""
    count = 0

    def salt() -> bytes:
        nonlocal count
        count += 1
        return hashlib.sha256(f"salt {count}".encode()).digest()[:16]

    return salt


def with_values(statement: str, *values: str | int) -> str:
    """Return a statement of the journal with its values written out, for asking its plan."""
    for value in values:
        told = str(value) if isinstance(value, int) else f"'{value}'"
        statement = statement.replace("?", told, 1)
    assert "?" not in statement
    return statement


def use(number: int, **changes: Any) -> NewEntry:
    """Return an application: the ``number``-th of an invented month."""
    body: dict[str, Any] = {
        "date": f"2026-01-{14 + number // 100 % 15:02d}", "jurisdiction": "us-ca",
        "county": COUNTIES[number % 2], "product_key": f"99901-{1 + number % 3}",
        "label": hashlib.sha256(f"label {number % 3}".encode()).hexdigest(),
        "site_code": "10", "site": f"S{1 + number % 4:04d}", "applicator": "R. Alder",
        "visit": f"v{number // 2}",
        "identity": hashlib.sha256(f"{number}".encode()).hexdigest()[:32],
        "own": f"R. Alder|2026-01-14|{number}", "places": ["door frame", "Fußleiste 踢脚线"],
        "used": {
            "numerator": 5 + number, "denominator": 10, "unit": "oz", "derived": 0, "estimate": 0,
        },
    }  # fmt: skip
    body.update(changes)
    private = json.dumps({"customer": f"Customer {number}", "note": "two\nlines é"})
    return NewEntry(EntryKind.APPLICATION, body, private=private, by="R. Alder")


def site(number: int, zip5: str = "95602", **changes: Any) -> NewEntry:
    """Return a site's entry."""
    body = {"site": f"S{number:04d}", "county": "Placer", "jurisdiction": "us-ca", "doubt": None}
    private = json.dumps({"street": f"{100 + number} TOLLHOUSE LN", "unit": "", "zip": zip5})
    return NewEntry(EntryKind.SITE, {**body, **changes}, private=private, by="R. Alder")


def amended(old: Sealed, **changes: Any) -> NewEntry:
    """Return the amendment of an application."""
    body = {**old.body, **changes}
    return NewEntry(EntryKind.AMENDMENT, body, old.private, "M. Licensee", replaces=old.seq)


def strike(old: Sealed) -> NewEntry:
    """Return the strike of a record."""
    because = json.dumps({"because": "entered twice"})
    return NewEntry(EntryKind.STRIKE, {}, because, "M. Licensee", replaces=old.seq)


def held(number: int) -> NewEntry:
    """Return a held line."""
    body = {"identity": f"held{number}", "own": None, "days": ["2026-01-14"], "faults": []}
    return NewEntry(EntryKind.HELD, body, private=json.dumps({"cells": {"amount": "some"}}))


def close(writer: Writer, day: str = "2026-01-14") -> Sealed:
    """Append a day close over everything so far."""
    tree = Tree()
    for text in writer.texts_since(0):
        tree.add(text)
    body = {
        "date": day, "applicator": None, "size": tree.size, "root": tree.root,
        "peaks": list(tree.peaks), "entries": [],
    }  # fmt: skip
    return writer.append(NewEntry(EntryKind.CLOSE, body, by="R. Alder"))


def small_ledger(store: Store) -> list[Sealed]:
    """Write one of everything and return the entries, the ledger's own first one left out."""
    done: list[Sealed] = []
    with store.writing() as writer:
        digest = writer.keep("sheet", "date,amount\n2026-01-14,½ oz\n".encode())
        rules = writer.keep("rule text", b'id = "us-ca"\n')
        done.append(
            writer.append(NewEntry(EntryKind.RULES, {"digest": "d" * 64, "files": [
                {"path": "jurisdictions/us-ca.toml", "digest": rules}]}))
        )  # fmt: skip
        done.append(writer.append(NewEntry(EntryKind.SHEET, {"name": "day.csv", "digest": digest})))
        done += [writer.append(site(number)) for number in (1, 2)]
        done += [writer.append(use(number)) for number in range(4)]
        first = done[4].seq
        done.append(
            writer.append(NewEntry(EntryKind.JUDGEMENT, {"first": first, "last": first + 3}))
        )
        done.append(writer.append(held(1)))
        done.append(close(writer))
    with store.writing() as writer:
        done.append(writer.append(amended(done[4], note="a corrected one")))
        done.append(writer.append(strike(done[5])))
        done.append(writer.append(replace(use(7), refers=done[9].seq)))
        report = writer.keep("filed report", b"%PDF-1.7 invented")
        done.append(writer.append(NewEntry(EntryKind.FILING, {"report": report, "copies": {}})))
        done.append(close(writer, "2026-01-15"))
    return done


def what_is_seen(database: str, seal: str) -> list[str]:
    """Open a ledger, prove it against a kept seal; return everything that was said against it.

    A refusal to open it or to read it counts, if it names a way out.
    """
    try:
        store = open_store(database, proving=True, clock=TickingClock(), salts=counted_salts())
    except StoreProblem as refused:
        return [_with_way_out(refused)]
    try:
        with store.reading() as reader:
            return [f"{fault.code}: {fault.what}" for fault in verify(reader, [seal]).problems]
    except StoreProblem as refused:
        return [_with_way_out(refused)]
    finally:
        store.close()


def _with_way_out(refused: StoreProblem) -> str:
    if not refused.way_out:
        raise AssertionError(f"refused without a way out: {refused.what}")
    return refused.what
