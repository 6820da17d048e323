"""The customer's paper after the job: made from the sealed entries of a visit, and sealed itself.

It shares the values and the wording of ``ledger.notice`` with the paper before the job; what
differs is that everything in it is on record, down to the entry's number and seal code.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from ledger.checks.case import Case
from ledger.checks.say import said
from ledger.flow.judging import booked
from ledger.flow.lines import BOOKED
from ledger.flow.places import site_from
from ledger.flow.workspace import Workspace, WorkspaceProblem, seal_rules, sealed_entry
from ledger.journal import Reader
from ledger.notice import (
    CAUTIONS,
    Due,
    Extra,
    Notice,
    NoticeLine,
    address_of,
    ingredients_of,
    line_of,
    papers_at,
)  # fmt: skip
from ledger.preparing.lasting import revisits_of
from ledger.rulebook.book import Book
from ledger.rulebook.model import Shape
from ledger.seal import seal_code
from ledger.values.entry import Application
from ledger.values.lexicon import fold
from ledger.values.sealed import EntryKind, NewEntry, Sealed

MOMENTS = ("on completion", "after the work")
STATES = ("given", "refused", "waived")
BY_WIRE = ("e-mail", "email", "electronic", "text message")
"""Words of a way to give a paper that is not on paper."""
REGULATOR = "the state lead agency for pesticides"
UNTOLD = (
    "The label says when a treated place may be used again; where nothing is said here, stay away "
    "until it is dry or the dust has settled, and ask us (common practice, no source)."
)


@dataclass(frozen=True, slots=True)
class Handing:
    """What became of the paper: given, refused or waived, how, and whether e-mail was agreed to."""

    state: str
    how: str
    consent: bool = False


@dataclass(frozen=True)
class AfterNotice:
    """The paper with the entries behind it; once sealed, its own entry and its page."""

    notice: Notice
    entries: tuple[Sealed, ...]
    entry: Sealed | None = None
    page: bytes = b""


def visit_entries(reader: Reader, asked: str) -> tuple[Sealed, ...]:
    """Return the current entries of a visit, named by its key or by any of its entries."""
    if asked.isdecimal():
        entry = reader.newest_version(sealed_entry(reader, int(asked)).seq)
        if entry.kind not in BOOKED:
            raise WorkspaceProblem(
                f"entry {asked} is a {entry.kind}: there is no work to write a paper about",
                "name an application (useledger entries)",
            )
        found = [
            other
            for other in reader.at_site(entry.body["site"])
            if other.body["visit"] == entry.body["visit"]
        ]
        return tuple(found) or (entry,)
    found = [
        entry
        for entry in reader.entries(kinds=BOOKED, current_only=True)
        if entry.body["visit"] == asked
    ]
    if not found:
        raise WorkspaceProblem(
            f'there is no visit "{asked}"', "name an entry of it by its number (useledger entries)"
        )
    return tuple(found)


def after_notice(workspace: Workspace, asked: str, extra: Extra) -> AfterNotice:
    """Return the paper after a visit; nothing is recorded."""
    with workspace.store.reading() as reader:
        return _made(workspace, reader, asked, extra)


def give_after(
    workspace: Workspace,
    asked: str,
    what: tuple[Extra, Handing],
    printed: Callable[[AfterNotice], bytes],
    by: str,
) -> AfterNotice:
    """Make the paper and seal what became of it, with the page itself kept by digest."""
    extra, handing = what
    with workspace.store.writing() as writer:
        made = _made(workspace, writer, asked, extra)
        page = printed(made)
        seal_rules(writer, workspace.book)
        first = made.entries[0].body
        body: dict[str, Any] = {
            "when": "after", "date": first["date"], "site": first["site"],
            "jurisdiction": first["jurisdiction"], "county": first["county"],
            "applicator": first["applicator"], "visit": first["visit"],
            "entries": [entry.seq for entry in made.entries], "state": handing.state,
            "how": handing.how, "consent": int(handing.consent),
            "papers": [f"{due.ref.file}/{due.name}" for due in made.notice.due],
            "lacking": list(made.notice.lacking), "page": writer.keep("notice", page),
            "rules": workspace.book.digest,
        }  # fmt: skip
        customer = booked(made.entries[0]).use.customer
        private = json.dumps({"customer": customer}, ensure_ascii=True, sort_keys=True)
        entry = writer.append(NewEntry(EntryKind.NOTICE, body, private=private, by=by))
    return replace(made, entry=entry, page=page)


def not_agreed(made: AfterNotice, handing: Handing) -> tuple[str, ...]:
    """Return what the law says of each paper that went by wire without the customer's agreement."""
    by_wire = any(word in fold(handing.how) for word in BY_WIRE)
    if handing.state != "given" or handing.consent or not by_wire:
        return ()
    return tuple(
        f"{due.says}: by electronic means {due.electronic} ({due.ref.source}); no agreement is on "
        "record: give it on paper, or say it again with --consent once there is one"
        for due in made.notice.due
        if due.electronic
    )


def _made(workspace: Workspace, reader: Reader, asked: str, extra: Extra) -> AfterNotice:
    entries = visit_entries(reader, asked)
    book = workspace.book
    cases: list[Case] = []
    for entry in entries:
        use = booked(entry).use
        sealed_site = reader.site(use.site)
        assert sealed_site is not None  # an application is booked at a sealed site
        file = book.label(use.label) if use.label else None
        product = file.product if file else book.product(use.product, use.date, use.lot)
        cases.append(Case(use, product, site_from(sealed_site), book.firm, book.words))
    due = _papers(book, cases)
    lines = (
        *_lines(book, cases, extra), *_found(reader, cases[0].use), *_again(book, cases),
        *_whom(workspace, cases),
        NoticeLine("On record as", tuple(
            f"entry {entry.seq}, seal code {seal_code(entry.seal)}" for entry in entries
        )),
    )  # fmt: skip
    firm, use = book.firm, cases[0].use
    notice = Notice(
        "after", "What was used at your place",
        (
            ("From", f"{firm.name}, licence {firm.licence}"),
            ("", ", ".join(filter(None, (firm.address, firm.city, f"{firm.state} {firm.zip}",
                                         firm.telephone)))),
            ("To", use.customer or "________________________"), ("At", address_of(cases[0])),
            ("Day", f"{use.date.isoformat()}{_hours(use)}"),
        ),
        tuple(lines), tuple(dict.fromkeys(item.statement for item in due if item.statement)),
        CAUTIONS, due, _lacking(due, cases, extra), _remarks(book, due, use),
    )  # fmt: skip
    return AfterNotice(notice, entries)


def _hours(use: Application) -> str:
    if use.start is None:
        return ""
    return f", {use.start:%H:%M}" + (f" to {use.end:%H:%M}" if use.end else "")


def _papers(book: Book, cases: Sequence[Case]) -> tuple[Due, ...]:
    found: dict[tuple[str, str], Due] = {}
    for case in cases:
        for moment in MOMENTS:
            for item in papers_at(book, case, moment):
                if item.sure or (item.ref.file, item.name) not in found:
                    found[item.ref.file, item.name] = item
    return tuple(found.values())


# ------------------------------------------------------------------ what it says


def _amount(use: Application) -> str:
    """Return what was put down, as a customer reads it: of a weighing what came of it."""
    amount = use.amount
    return amount.text if amount.weighing is None else f"{said(amount.quantity)} by weighing"


def _lines(book: Book, cases: Sequence[Case], extra: Extra) -> list[NoticeLine]:
    """Return what was used and where, what is in it, what was left alone, and what to mind."""
    used, actives, alone = [], [], []
    for case in cases:
        use = case.use
        number = (case.product.registration if case.product else use.product_key) or ""
        where = "; ".join(use.places) or "places not written down"
        used.append(
            f"{use.product_name}{f' ({number})' if number else ''}: {_amount(use)}, "
            f"{use.method}, {use.setting}: {where}"
        )
        if told := ingredients_of(case.product):
            actives.append(f"{use.product_name}: {told}")
        alone += [f"{item.place} ({item.reason})" if item.reason else item.place
                  for item in use.avoided]  # fmt: skip
    pests = dict.fromkeys(pest for case in cases for pest in case.use.pests)
    care = [*extra.precautions, *_of_labels(book, cases, Shape.KEEP_OFF, Shape.PREPARE)]
    back = [*extra.reentry, *_of_labels(book, cases, Shape.REENTRY)] or [UNTOLD]
    headed = (
        ("What was used, and where", used), ("Active ingredients", actives),
        ("Against", [", ".join(pests)] if pests else []),
        ("Left alone on purpose", alone), ("Please mind, by the label", care),
        ("Coming back in", back),
    )  # fmt: skip
    return [NoticeLine(heading, tuple(dict.fromkeys(texts))) for heading, texts in headed if texts]


def _of_labels(book: Book, cases: Sequence[Case], *shapes: Shape) -> list[str]:
    """Return the sentences of the labels in hand that are about the people of the house."""
    found = []
    for case in cases:
        file = book.label(case.use.label) if case.use.label else None
        for limit in file.limits if file else ():
            if limit.shape in shapes and limit.span.holds(case.use.date):
                sure = "" if limit.read.decides else "unverified: "
                found.append(f"{case.use.product_name}: {sure}{limit.says}")
    return found


def _found(reader: Reader, use: Application) -> list[NoticeLine]:
    """Return what was seen that day and what the customer was told to repair or clear."""
    told = []
    for entry in reader.entries(
        kinds=(EntryKind.OBSERVATION,), site=use.site, date_from=use.date, date_to=use.date
    ):
        text = json.loads(entry.private) if entry.private else {}
        said = ": ".join(filter(None, (text.get("place", ""), text.get("condition", ""))))
        advice = text.get("advice", "")
        told.append(f"{said}. Please: {advice}" if advice else said)
    return [NoticeLine("What we found, and what to repair", tuple(told))] if told else []


def _again(book: Book, cases: Sequence[Case]) -> list[NoticeLine]:
    day = cases[0].use.date
    found = revisits_of([case.use for case in cases], book, day, timedelta(days=3660))
    texts = [
        f"{item.product_name}, {item.setting}: from {item.due_from}, by {item.due_to} "
        f"(it lasts {item.lasts}; {item.source})"
        for item in found
    ]
    return [NoticeLine("When we come back", tuple(texts or (("No revisit is planned by a label; "
            "call us when you see the pest again."),)))]  # fmt: skip


def _whom(workspace: Workspace, cases: Sequence[Case]) -> list[NoticeLine]:
    people = dict.fromkeys(
        f"{case.applicator.name if case.applicator else case.use.applicator}"
        + (f", licence {case.use.licence}" if case.use.licence else "")
        + (f", under licence {case.use.supervisor_licence}" if case.use.supervisor_licence else "")
        for case in cases
    )
    law = workspace.book.jurisdiction(cases[0].use.jurisdiction)
    state = law.title if law else cases[0].site.address.state
    firm = workspace.book.firm
    ask = (
        f"Questions: {firm.name}, {firm.telephone or firm.address}; about the law: {REGULATOR} of "
        f"{state}."
    )
    return [NoticeLine("Who did the work", tuple(people)), NoticeLine("Whom to ask", (ask,))]


_SAID_HERE = frozenset({
    "product", "registration", "ingredients", "amount", "places", "method", "setting", "pests",
    "pest_or_purpose", "date", "start", "end", "address", "city", "zip", "county", "customer",
    "customer_address", "applicator", "applicator_number", "certified_number", "supervisor",
    "firm", "firm_licence", "firm_telephone", "precautions", "reentry", "poison_control",
})  # fmt: skip
"""What this paper says by itself, where the record has it."""


def _lacking(due: Sequence[Due], cases: Sequence[Case], extra: Extra) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for item in due:
        for field in item.fields:
            told = field in _SAID_HERE or line_of(field, cases, extra) is not None
            if not told and not (field == "statement" and item.statement):
                found[f"{field.replace('_', ' ')} ({item.ref.source})"] = None
    return tuple(found)


def _remarks(book: Book, due: Sequence[Due], use: Application) -> tuple[str, ...]:
    """Return what whoever hands the paper out should know; it does not stand on the paper."""
    if due:
        return tuple(
            f"to {item.to}: {item.says} [{item.ref.source}, {item.ref.confidence}]"
            + ("" if item.sure else " (cannot tell whether it applies)")
            for item in due
        )
    known = book.jurisdiction(use.jurisdiction) is not None
    return (
        (f"no rule on file for {use.jurisdiction} asks for a paper after the job",)
        if known
        else (f"no rule file describes {use.jurisdiction}: ask the state lead agency",)
    )
