"""An audit as sheets and as plain values: figures, what is owed, what was answered, what was
not read, and what has changed since the last audit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any, Protocol

from ledger.audit import Figures, Item, Since, by_topic
from ledger.values.finding import RuleRef
from ledger.values.rounding import fixed
from reports.sheet import Column, Kind, Note, Number, Sheet, Value

_ADVICE = Note(
    "Advice and what cannot be told never decide; they are counted in the figures and listed here."
)
_ROUNDING = Note("Shares and hours are rounded half to even to one decimal place, once, here.")
_LAG = Note(
    "Lag: from the end of the work (the end of the local day where no time is written) to the "
    "sealing of the first version. On time: of the records that a clock of the law governs that "
    "was read."
)


class Part(Protocol):
    """A part of the law that was not read."""

    @property
    def jurisdiction(self) -> str:
        """The jurisdiction's id."""

    @property
    def section(self) -> str:
        """The section, or what of it."""

    @property
    def note(self) -> str:
        """What is known about it."""

    @property
    def ref(self) -> RuleRef | None:
        """Where the rule file says so."""


@dataclass(frozen=True, slots=True)
class Head:
    """Who is audited, what the scope is in words, and the day."""

    firm: str
    licence: str
    scope: str
    on: date

    @property
    def about(self) -> tuple[tuple[str, str], ...]:
        """The lines under each title."""
        return (
            ("Firm", self.firm), ("Licence", self.licence), ("Scope", self.scope),
            ("Audited on", self.on.isoformat()),
        )  # fmt: skip


_COLUMNS = (
    Column("Checked", "what an inspector checks, in that order"),
    Column("Weight", "breach, missing, difference, unknown (cannot tell) or advice"),
    Column("Entry", "number in the ledger", Kind.NUMBER),
    Column("Day", "day of the work", Kind.DATE),
    Column("Record", "sheet and row"),
    Column("Found"),
    Column("Rule", "file, line, source"),
    Column("Way out"),
    Column("Finding", "what to name in useledger answer"),
)
_ANSWERED = (*_COLUMNS, Column("Reason"), Column("Action"), Column("By"), Column("When", "UTC"))
_STATE = Column("State", "open, or answered by the firm")
_FIGURE = (Column("Figure"), Column("Value"), Column("Last audit"))
_UNREAD = (Column("Jurisdiction"), Column("Section"), Column("Note"), Column("Rule file"))


def audit_sheets(
    head: Head, items: Sequence[Item], figures: Figures, rest: tuple[Sequence[Part], Since | None]
) -> tuple[Sheet, ...]:
    """Return an audit as sheets: figures, findings, answered ones, law not read, changes."""
    unread, since = rest
    answered = [item for item in items if item.answer is not None]
    open_ones = [item for item in items if item.answer is None]
    sheets = [
        figures_sheet(head, figures, since),
        findings_sheet(head, open_ones),
        answered_sheet(head, answered),
        unread_sheet(head, unread),
    ]
    if since is not None:
        sheets.append(since_sheet(head, since))
    return tuple(sheets)


def figures_sheet(head: Head, figures: Figures, since: Since | None) -> Sheet:
    """Return the page of figures."""
    old = {name: pair[0] for name, pair in since.figures.items()} if since else {}
    rows = tuple((name, text, old.get(key, "")) for key, name, text in _figure_rows(figures))
    return Sheet(
        "figures", "Audit: figures", head.about, _FIGURE, rows, notes=(_LAG, _ROUNDING)
    )  # fmt: skip


def _figure_rows(figures: Figures) -> Iterable[tuple[str, str, str]]:
    """Yield the key under which a figure is sealed, its name and its text."""
    values = figures.values()
    yield "records", "records", str(figures.records)
    yield "complete", "records complete", _share(figures.complete, figures.share_complete)
    yield "judged", "records judged here", str(figures.judged)
    yield "on_time", "records on time", _share(figures.on_time, figures.share_on_time)
    yield "timed", "records that a clock read governs", str(figures.timed)
    lag = figures.median_lag
    text = "none" if lag is None else f"{fixed(lag / 60, 1)} h"
    yield "median_lag_minutes", "median lag", text
    yield "after_close", "recorded after the close", str(figures.after_close)
    yield "amended", "amended", str(figures.amended)
    for weight, _ in figures.weights:
        yield weight, f"findings: {weight}", str(values[weight])
    yield "answered", "findings answered", str(figures.answered)
    yield "owed", "owed", str(figures.owed)


def _share(count: int, share: Fraction | None) -> str:
    return "none" if share is None else f"{count} ({fixed(share * 100, 1)} %)"


def findings_sheet(head: Head, items: Sequence[Item]) -> Sheet:
    """Return the items without an answer, by topic, the worst first."""
    return Sheet(
        "findings", "Audit: open", head.about, _COLUMNS,
        tuple(_row(item) for item in _ordered(items)),
        statement="" if items else "Nothing is open.", notes=(_ADVICE,), wide=True,
    )  # fmt: skip


def answered_sheet(head: Head, items: Sequence[Item]) -> Sheet:
    """Return the items that the firm has answered, with the answers."""
    rows = tuple((*_row(item), *_said(item)) for item in _ordered(items))
    return Sheet(
        "answered", "Audit: answered", head.about, _ANSWERED, rows,
        statement="" if rows else "No finding was answered.", wide=True,
    )  # fmt: skip


def all_sheet(head: Head, items: Sequence[Item]) -> Sheet:
    """Return every item in one table, the open ones first, each with its state and answer."""
    open_first = sorted(_ordered(items), key=lambda item: item.answer is not None)
    rows = tuple((state_of(item), *_row(item), *_said(item)) for item in open_first)
    return Sheet(
        "findings", "Audit: open and answered", head.about, (_STATE, *_ANSWERED), rows,
        statement="" if rows else "Nothing was found.", notes=(_ADVICE,), wide=True,
    )  # fmt: skip


def state_of(item: Item) -> str:
    """Return whether the firm has answered an item: ``open`` or ``answered``."""
    return "open" if item.answer is None else "answered"


def _said(item: Item) -> tuple[Value, ...]:
    said = item.answer
    if said is None:
        return ("", "", "", "")
    return (said.because, said.action, said.by, said.at.replace("T", " ")[:19])


def _ordered(items: Sequence[Item]) -> tuple[Item, ...]:
    return tuple(item for _, found in by_topic(items) for item in found)


def _row(item: Item) -> tuple[Value, ...]:
    entry: Value = Number(Fraction(item.entry)) if item.entry is not None else None
    text = f"{item.text} ({item.note})" if item.note else item.text
    return (
        item.topic.text, item.weight.text, entry, item.day, item.origin, text,
        "; ".join(rule_text(rule) for rule in item.rules), item.way_out, item.id,
    )  # fmt: skip


def rule_text(rule: RuleRef) -> str:
    """Return a rule's file, line and source, and how well it was read if that is not enough."""
    place = f"{rule.file}:{rule.line}" if rule.file else ""
    confidence = f", {rule.confidence}" if rule.confidence else ""
    return f"{place} {rule.source}{confidence}".strip()


def unread_sheet(head: Head, unread: Sequence[Part]) -> Sheet:
    """Return the parts of the law of the places concerned that nobody has read."""
    rows = tuple(
        (part.jurisdiction, part.section, part.note,
         f"{part.ref.file}:{part.ref.line}" if part.ref else "")
        for part in unread
    )  # fmt: skip
    return Sheet(
        "law not read", "Audit: law not read", head.about, _UNREAD, rows,
        statement="" if rows else "Every part that the rule files name was read.",
        notes=(Note("What was not read is not passed: ask the agency of the place."),),
    )  # fmt: skip


def since_sheet(head: Head, since: Since) -> Sheet:
    """Return what is new, gone and answered since the last audit of this scope."""
    rows = [("new", item.id, item.text) for item in since.new]
    rows += [("gone", name, "") for name in since.gone]
    rows += [("answered", name, "") for name in since.answered]
    return Sheet(
        "since the last audit", f"Audit: since entry {since.seq} of {since.at[:10]}", head.about,
        (Column("Change"), Column("Finding"), Column("Found")), tuple(rows),
        statement="" if rows else "Nothing has changed.",
    )  # fmt: skip


def item_values(item: Item) -> dict[str, Any]:
    """Return an item as plain values for JSON."""
    answer = item.answer
    return {
        "finding": item.id, "checked": item.topic.text, "weight": item.weight.text,
        "code": item.code, "name": item.name, "entry": item.entry,
        "day": item.day.isoformat() if item.day else None, "record": item.origin,
        "text": item.text, "note": item.note, "way_out": item.way_out, "owed": item.owed,
        "state": state_of(item),
        "rules": [
            {"file": rule.file, "line": rule.line, "key": rule.key, "source": rule.source,
             "confidence": rule.confidence}
            for rule in item.rules
        ],
        "answer": None if answer is None else {
            "entry": answer.seq, "because": answer.because, "action": answer.action,
            "by": answer.by, "at": answer.at,
        },
    }  # fmt: skip


def figures_values(figures: Figures) -> Mapping[str, Any]:
    """Return the figures as plain values, the shares as exact text."""
    shares = {"share_complete": figures.share_complete, "share_on_time": figures.share_on_time}
    exact = {name: None if share is None else str(share) for name, share in shares.items()}
    return {**figures.values(), **exact}


def since_values(since: Since | None) -> dict[str, Any] | None:
    """Return what has changed since the last audit as plain values."""
    if since is None:
        return None
    return {
        "audit": since.seq, "at": since.at, "new": [item.id for item in since.new],
        "gone": list(since.gone), "answered": list(since.answered),
        "figures": {name: {"was": was, "is": now} for name, (was, now) in since.figures.items()},
    }  # fmt: skip
