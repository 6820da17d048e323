"""Which clocks and which years of keeping govern one record: by its day, its facts, and order.

A rule governs on the days of its span, where its condition holds, and while no rule that was read
stands in its place. Where its condition cannot be told it may govern, and is said so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import partial
from typing import Any, TypeVar

from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.checks.remember import Remembered
from ledger.checks.retention import rules_about
from ledger.rulebook.book import Book
from ledger.rulebook.model import Deadline, Requirement, Retention, RuleFile
from ledger.rulebook.when import holds
from ledger.values.entry import Application
from ledger.values.site import Site

Order = TypeVar("Order", Deadline, Retention)


def case_of(book: Book, use: Application, site: Site, others: Iterable[Application] = ()) -> Case:
    """Return one application as a case, with the product of its label and all others there."""
    product = book.product(use.product, use.date, use.lot) if use.label else None
    return Case(use, product, site, book.firm, book.words, tuple(others))


def clocks_of(book: Book, case: Case) -> tuple[tuple[Deadline, bool | None], ...]:
    """Return every clock that may govern a record, and whether it does; None cannot be told."""
    label = case.product.digest if case.product else None
    if case.firm is not book.firm or case.words is not book.words or label == "":
        return _clocks(book, case)
    # Of one label and jurisdiction most records ask the same and are answered alike.
    key = ("clocks", case.use.jurisdiction, label)
    if key not in book.memory:
        book.memory[key] = Remembered(partial(_clocks, book))
    kept: Remembered[tuple[tuple[Deadline, bool | None], ...]] = book.memory[key]
    return kept.of(case, {})


def _clocks(book: Book, case: Case) -> tuple[tuple[Deadline, bool | None], ...]:
    laws = book.laws_of(case.use.jurisdiction)
    rules = [(law, rule) for law in laws for rule in law.deadlines]
    return tuple(_governing(book, case, rules))


def retentions_of(book: Book, case: Case) -> Iterator[tuple[Retention, bool | None]]:
    """Yield every rule on keeping that may govern a record of use, and whether it does."""
    yield from _governing(book, case, [
        (law, rule)
        for law in book.laws_of(case.use.jurisdiction)
        for rule in rules_about(law.retentions, "application")
    ])  # fmt: skip


def _governing(
    book: Book, case: Case, rules: Iterable[tuple[RuleFile, Order]]
) -> Iterator[tuple[Order, bool | None]]:
    in_force = [(law, rule) for law, rule in rules if case.in_force(rule.span)]
    if not in_force:
        return
    facts = facts_of(case)
    gone = _giving_way(book, case, facts)
    for law, rule in in_force:
        if (law.id, rule.name) not in gone:
            applies = holds(rule.when, facts, book.units)
            if applies is not False:
                yield rule, applies


def _giving_way(book: Book, case: Case, facts: Mapping[str, Any]) -> frozenset[tuple[str, str]]:
    """Return the rules, as file id and name, in whose place another one governs this record.

    The other one was read, is in force on the day, and its own condition holds for certain.
    """
    return frozenset(
        gone
        for law in book.laws_of(case.use.jurisdiction)
        for order in law.orders
        if order.supersedes and _stands(order, case, facts, book)
        for gone in law.gone_by(order)
    )


def _stands(
    order: Requirement | Deadline | Retention, case: Case, facts: Mapping[str, Any], book: Book
) -> bool:
    in_force = order.read.decides and case.in_force(order.span)
    return in_force and holds(order.when, facts, book.units) is True
