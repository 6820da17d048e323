"""What makes two lines the same: digests of core facts, never of rules or of the line's number."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from typing import Any

from ledger.normalise.dates import parse_date
from ledger.normalise.text import cell, clean
from ledger.normalise.words import split_list
from ledger.values.amount import Dilution, Quantity, Strength
from ledger.values.draft import Draft
from ledger.values.entry import Application
from ledger.values.lexicon import fold


def identity_of(app: Application, draft: Draft) -> str:
    """Return the identity of a line: 32 hex digits of SHA-256 over its core facts.

    The facts are date, start, end, applicator, site, product, amount with unit and basis,
    method, setting, places (in any order) and dilution. Words are taken as typed, with case,
    spacing and ``&`` folded: a spelling added to the closed lists later must not make a new line
    of an old one. The JSON under the digest has sorted keys, no spaces and only ASCII.
    """
    quantity = app.amount.quantity
    facts: dict[str, Any] = {
        "date": app.date.isoformat(),
        "start": app.start.isoformat("minutes") if app.start else "",
        "end": f"{app.end.isoformat('minutes')}+{app.end_day}" if app.end else "",
        "applicator": app.applicator,
        "site": app.site,
        "product": app.product_key,
        "amount": [str(quantity.value), quantity.unit, str(app.amount.basis)],
        "method": fold(cell(draft, "method")),
        "setting": fold(cell(draft, "setting")),
        "places": sorted({fold(item) for item in split_list(draft.text("places"))}),
        "dilution": _dilution(app.dilution),
    }
    return _digest(facts)[:32]


def held_identity(draft: Draft) -> str:
    """Return the identity of a line that is not understood: its folded cells, without ``line``."""
    cells = {
        heading: fold(clean(item.text))
        for heading, item in draft.cells.items()
        if heading != "line" and clean(item.text)
    }
    return _digest({"held": cells})[:32]


def own_key(line: Application | Draft) -> str | None:
    """Return ``applicator|date|line`` where all three are readable, else None.

    A draft is read without the firm's customs, so its applicator counts as typed and its date
    only where it can be read one way; ``Normalised.own`` knows more.
    """
    if isinstance(line, Application):
        return key_of(line.applicator, line.date.isoformat(), line.line)
    text = cell(line, "date")
    day = parse_date(text, month_first=True)
    if day != parse_date(text, month_first=False):
        return None
    iso = day.isoformat() if isinstance(day, date) else ""
    return key_of(fold(cell(line, "applicator")), iso, cell(line, "line"))


def key_of(applicator: str, day: str, line: str) -> str | None:
    """Return the applicator's own key of a line, or None where a part of it is missing."""
    return f"{applicator}|{day}|{line}" if applicator and day and line else None


def visit_of(day: str, start: str, applicator: str, site: str) -> str:
    """Return the id of a visit: one trip of one applicator to one site (16 hex digits)."""
    return hashlib.sha256(f"{day}|{start}|{applicator}|{site}".encode()).hexdigest()[:16]


def _dilution(dilution: Dilution | None) -> list[str]:
    if dilution is None or dilution.strength is Strength.NONE:  # nothing was mixed, said or not
        return []
    value = "" if dilution.value is None else str(dilution.value)
    return [str(dilution.strength), value, _quantity(dilution.product), _quantity(dilution.mix)]


def _quantity(quantity: Quantity | None) -> str:
    return "" if quantity is None else f"{quantity.value} {quantity.unit}"


def _digest(facts: dict[str, Any]) -> str:
    text = json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()
