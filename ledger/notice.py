"""Papers for the customer: which ones the law of the place asks for, and what each must say.

``papers_at`` and the parts of a notice serve both sides of the job. The paper before the job is
made by ``notice_before``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.checks.say import unverified
from ledger.rulebook.book import Book
from ledger.rulebook.model import Limit, Paper, RuleFile, Shape
from ledger.rulebook.when import holds
from ledger.values.finding import RuleRef
from ledger.values.firm import Statement
from ledger.values.help_lines import EMERGENCY, POISON_HELP
from ledger.values.product import Product
from ledger.values.rounding import exact_text

BEFORE = "before the work"
_ASKED = "notice before the job"
_USUAL = ("pests", "product", "ingredients")
"""What a notice says where a rule asks for one and does not list what it holds."""


@dataclass(frozen=True, slots=True)
class Due:
    """A paper that the law asks for; ``sure`` is false where nobody can tell whether it does."""

    name: str
    to: str
    says: str
    fields: tuple[str, ...]
    ref: RuleRef
    statement: str = ""
    electronic: str = ""
    sure: bool = True


@dataclass(frozen=True, slots=True)
class NoticeLine:
    """One heading of a notice with what stands behind it, a text for each product or one."""

    heading: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Notice:
    """A paper for the customer.

    ``about`` are pairs of what and value, ``lines`` what the paper says in order, ``statements``
    the law's fixed words, or what stands in their place where they were not read. ``lacking``
    lists what the law asks for and nobody has said or read: it must be put in by hand.
    """

    when: str
    title: str
    about: tuple[tuple[str, str], ...]
    lines: tuple[NoticeLine, ...]
    statements: tuple[str, ...]
    cautions: tuple[str, ...]
    due: tuple[Due, ...]
    lacking: tuple[str, ...]
    remarks: tuple[str, ...]


def papers_at(book: Book, case: Case, moment: str) -> tuple[Due, ...]:
    """Return every paper that the laws of the place ask for at a moment of this job."""
    found: list[Due] = []
    facts = facts_of(case)
    for law in book.laws_of(case.use.jurisdiction):
        for paper in law.papers:
            if paper.at != moment or not paper.span.holds(case.use.date):
                continue
            applies = holds(paper.when, facts, book.units)
            if applies is not False:
                found.append(_due(paper, sure=applies is True))
    return tuple(found)


def _due(paper: Paper, *, sure: bool) -> Due:
    says = f"{unverified(paper.read)}{paper.says}"
    return Due(
        paper.name, paper.to, says, paper.fields, paper.ref, paper.statement, paper.electronic, sure
    )


def _asks(law: RuleFile, case: Case, book: Book) -> Iterator[Limit]:
    """Yield the questions of a law that only a notice before the job answers."""
    asks = (limit for limit in law.limits if limit.shape is Shape.ASK and _ASKED in limit.words)
    for limit in asks:
        in_force = limit.span.holds(case.use.date)
        if in_force and holds(limit.when, facts_of(case), book.units) is not False:
            yield limit


def due_before(book: Book, case: Case) -> tuple[Due, ...]:
    """Return the papers before the job; where a law only asks whether one was given, that one."""
    found = list(papers_at(book, case, BEFORE))
    cited = {(due.ref.file, due.ref.source) for due in found}
    for law in book.laws_of(case.use.jurisdiction):
        for limit in _asks(law, case, book):
            if (limit.ref.file, limit.ref.source) not in cited:
                says = f"{unverified(limit.read)}{limit.says}"
                found.append(Due(limit.name, "the customer", says, _USUAL, limit.ref))
    return tuple(found)


# --- what stands behind a field ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Extra:
    """What a job's own line does not say: told by whoever makes the notice, or by its plan.

    ``precautions`` and ``reentry`` are sentences for the people of the house.
    """

    frequency: str = ""
    purpose: str = ""
    precautions: tuple[str, ...] = ()
    reentry: tuple[str, ...] = ()


Cases = Sequence[Case]
Teller = Callable[[Cases, Extra], tuple[str, ...]]


def _each(tell: Callable[[Case], str]) -> Teller:
    """Return a teller that takes each line's text once, in order, and leaves blanks out."""
    return lambda cases, _: tuple(dict.fromkeys(filter(None, map(tell, cases))))


def _product(case: Case) -> str:
    product = case.product
    if product is None:
        return case.use.product_name
    number = product.registration or "no registration number (minimum risk)"
    return f"{product.name} ({number})"


def ingredients_of(product: Product | None) -> str:
    """Return the active ingredients in words: ``cyfluthrin 0.1 %``; synergists are named so."""
    if product is None:
        return ""
    return ", ".join(
        f"{part.name} {exact_text(part.share * 100)} %{' (synergist)' if part.synergist else ''}"
        for part in product.ingredients
    )


def _ingredients(case: Case) -> str:
    return f"{case.use.product_name}: {ingredients_of(case.product)}" if case.product else ""


def _who(case: Case) -> str:
    return case.applicator.name if case.applicator else case.use.applicator


def address_of(case: Case) -> str:
    """Return the site's address in one line."""
    where = case.site.address
    last = f"{where.state} {where.zip}".strip()
    return ", ".join(filter(None, (where.street, where.unit, where.city, last)))


_TELLERS: Mapping[str, tuple[str, Teller]] = {
    "pests": ("Against", _each(lambda case: ", ".join(case.use.pests))),
    "product": ("Product and registration number", _each(_product)),
    "ingredients": ("Active ingredients", _each(_ingredients)),
    "signal_word": ("Signal word", _each(
        lambda case: f"{case.product.name}: {case.product.signal_word}"
        if case.product and case.product.signal_word else "")),
    "date": ("Day of the work", _each(lambda case: case.use.date.isoformat())),
    "address": ("Address", _each(address_of)),
    "customer": ("Customer", _each(lambda case: case.use.customer)),
    "places": ("Where", _each(lambda case: "; ".join(case.use.places))),
    "method": ("How", _each(lambda case: f"{case.use.product_name}: {case.use.method}")),
    "setting": ("In or out of the building", _each(lambda case: case.use.setting)),
    "applicator": ("Applicator", _each(_who)),
    "applicator_number": ("Licence", _each(lambda case: case.use.licence)),
    "supervisor": ("Supervisor", _each(lambda case: case.use.supervisor)),
    "start": ("Time", _each(
        lambda case: case.use.start.isoformat("minutes") if case.use.start else "")),
    "firm": ("Firm", _each(lambda case: case.firm.name)),
    "firm_licence": ("Licence of the firm", _each(lambda case: case.firm.licence)),
    "firm_telephone": ("Telephone", _each(lambda case: case.firm.telephone)),
    "precautions": ("Before the work", lambda _, extra: extra.precautions),
    "reentry": ("Coming back in", lambda _, extra: extra.reentry),
    "frequency": ("How often", lambda _, extra: (extra.frequency,) if extra.frequency else ()),
}  # fmt: skip
"""Heading of a field on the paper, and what stands behind it."""

_ALSO = {
    "registration": "product", "pest_or_purpose": "pests", "site_kind": "address",
    "city": "address", "zip": "address", "county": "address",
    "certified_number": "applicator_number",
}  # fmt: skip
"""Fields that another one says as well."""
_BY_HAND = {
    "statement": "the law's fixed statement", "signature": "a signature",
    "label_text": "the label's own text: give a copy", "poison_control": "",
}  # fmt: skip


def line_of(field: str, cases: Cases, extra: Extra) -> NoticeLine | None:
    """Return the line of a field, None where nothing stands behind it."""
    name = _ALSO.get(field, field)
    if field == "pest_or_purpose" and extra.purpose:
        return NoticeLine("Purpose", (extra.purpose,))
    if name not in _TELLERS:
        return None
    heading, tell = _TELLERS[name]
    texts = tell(cases, extra)
    return NoticeLine(heading, texts) if texts else None


# --- the paper before the job --------------------------------------------------------------------

_FIRST = ("pests", "product", "ingredients", "signal_word", "places", "date", "precautions",
          "reentry")  # fmt: skip
CAUTIONS = (
    "Keep people, children and animals out as told; cover or take out aquariums; put food away.",
    f"In an emergency call {EMERGENCY}. Poison Help: {POISON_HELP}.",
)


def notice_before(book: Book, cases: Cases, extra: Extra) -> Notice:
    """Return the paper that the customer is handed before the job.

    One paper serves every rule that asks for one: it says everything that any of them wants.
    ``cases`` are the planned lines of one visit, at least one.
    """
    asked = _merged(book, cases)
    due = tuple(item for item in asked if extra.frequency or not _of_a_contract(item))
    wanted = dict.fromkeys((*_FIRST, *(field for item in due for field in item.fields)))
    lines: dict[str, NoticeLine] = {}
    for field in wanted:
        line = line_of(field, cases, extra)
        if line is not None:
            lines.setdefault(line.heading, line)
    firm, use = cases[0].firm, cases[0].use
    copied = firm.statement(use.jurisdiction, use.county)
    statements, open_words = _statements(due, copied)
    told = filter(None, (firm.address, firm.city, f"{firm.state} {firm.zip}", firm.telephone))
    about = (
        ("From", f"{firm.name}, licence {firm.licence}"),
        ("", ", ".join(told)),
        ("To", use.customer or "________________________"),
        ("At", address_of(cases[0])),
    )
    return Notice(
        "before", "Notice before a pesticide is used", about, tuple(lines.values()), statements,
        CAUTIONS, due, (*_lacking(due, cases, extra), *open_words),
        _remarks(book, asked, cases, extra),
    )  # fmt: skip


def _merged(book: Book, cases: Cases) -> tuple[Due, ...]:
    """Return the papers of all lines, each once; one that is sure for any line is sure."""
    found: dict[tuple[str, str], Due] = {}
    for case in cases:
        for item in due_before(book, case):
            key = (item.ref.file, item.name)
            if key not in found or item.sure:
                found[key] = item
    return tuple(found.values())


def _of_a_contract(due: Due) -> bool:
    """Whether a paper says how often treatments follow: it is owed under a contract only."""
    return "frequency" in due.fields


def _statements(
    due: Sequence[Due], copied: Statement | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the fixed words of the law, and what is lacking where nobody has read them.

    ``copied`` are the words as the firm copied them from the official text: they come first.
    """
    words: dict[str, None] = {}
    lacking: dict[str, None] = {}
    for item in due:
        if item.statement:
            words[item.statement] = None
        elif "statement" in item.fields and copied is not None:
            words |= dict.fromkeys(_paragraphs(copied.words))
        elif "statement" in item.fields:
            law = item.ref.source
            words[
                f"[ A fixed statement belongs here: {law}. Its words were not read: they are not"
                " verified and not printed. Copy them from the official text. ]"
            ] = None
            lacking[
                f"the fixed statement of {law}: its words were not read. Copy them once from the"
                " official text into useledger.toml, under [[statement]] (rules/README.md), and"
                " every notice carries them; or hand the statement out beside this paper"
            ] = None
    return tuple(words), tuple(lacking)


def _paragraphs(text: str) -> list[str]:
    """Return the paragraphs of a text, each in one line."""
    return [" ".join(part.split()) for part in re.split(r"\n\s*\n", text) if part.strip()]


def _lacking(due: Sequence[Due], cases: Cases, extra: Extra) -> tuple[str, ...]:
    """Return what a paper must say and nobody has said."""
    found: dict[str, None] = {}
    for item in due:
        for field in item.fields:
            if field == "statement" or line_of(field, cases, extra) is not None:
                continue
            said = _BY_HAND.get(field, field.replace("_", " "))
            if said:
                found[f"{said} ({item.ref.source})"] = None
    return tuple(found)


def _remarks(book: Book, due: Sequence[Due], cases: Cases, extra: Extra) -> tuple[str, ...]:
    """Return what whoever hands the paper out should know; it does not stand on the paper."""
    told: list[str] = []
    use = cases[0].use
    copied = cases[0].firm.statement(use.jurisdiction, use.county)
    if copied is not None and any("statement" in item.fields for item in due):
        on = f"compared with the official text on {copied.compared_on}"
        told.append(f"the statement of the law is the firm's copy (useledger.toml), {on}")
    if not due:
        place = cases[0].use.jurisdiction
        known = book.jurisdiction(place) is not None
        none = f"no rule on file for {place} asks for a paper before the job"
        unknown = f"no rule file describes {place}: ask the state lead agency for its papers"
        told.append(none if known else unknown)
    for item in due:
        maybe = "" if item.sure else " (cannot tell whether it applies)"
        told.append(f"to {item.to}: {item.says} [{item.ref.source}, {item.ref.confidence}]{maybe}")
        if _of_a_contract(item) and not extra.frequency:
            told.append("under a periodic contract say how often treatments follow (--frequency)")
    return tuple(dict.fromkeys(told))
