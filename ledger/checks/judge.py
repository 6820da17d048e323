"""Every finding of one application: its label, the law of the place, practice and people."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import lru_cache

from ledger.checks.answers import (
    check_ask,
    check_prepare,
    check_protection,
    check_reentry,
    check_state,
)
from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.checks.handling import check_dates, check_food_areas
from ledger.checks.jurisdiction import check_registered, check_requirement, not_on_file
from ledger.checks.lists import check_allowed, check_prohibited
from ledger.checks.people import check_people, check_supervision
from ledger.checks.places import check_buffer, check_keep_off
from ledger.checks.practice import HABITS
from ledger.checks.rates import check_count, check_rate, check_strength
from ledger.checks.say import Tools
from ledger.checks.sizes import check_enclosure, check_geometry, check_share, check_spacing
from ledger.checks.strictest import Outcome, strictest_of
from ledger.checks.tank import binds_the_tank, check_combination, tank_mates
from ledger.checks.totals import check_total
from ledger.checks.weather import check_weather
from ledger.checks.windows import check_interval, check_visits
from ledger.rulebook.book import Book, months_after
from ledger.rulebook.model import Limit, RuleFile, Shape
from ledger.rulebook.when import holds
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.product import Product

Check = Callable[[Case, Limit, Tools], Iterator[Finding]]

CHECKS: Mapping[Shape, Check] = {
    Shape.RATE: check_rate,
    Shape.COUNT: check_count,
    Shape.STRENGTH: check_strength,
    Shape.ENCLOSURE: check_enclosure,
    Shape.GEOMETRY: check_geometry,
    Shape.INTERVAL: check_interval,
    Shape.VISITS: check_visits,
    Shape.WEATHER: check_weather,
    Shape.BUFFER: check_buffer,
    Shape.KEEP_OFF: check_keep_off,
    Shape.PREPARE: check_prepare,
    Shape.ALLOWED: check_allowed,
    Shape.SUPERVISION: check_supervision,
    Shape.PROHIBITED: check_prohibited,
    Shape.ASK: check_ask,
    Shape.SPACING: check_spacing,
    Shape.SHARE: check_share,
    Shape.TOTAL: check_total,
    Shape.STATE: check_state,
    Shape.REENTRY: check_reentry,
    Shape.PROTECTION: check_protection,
    Shape.DATES: check_dates,
    Shape.FOOD_AREAS: check_food_areas,
    Shape.COMBINATION: check_combination,
}
"""The check of every shape of limit; any family of rule file may use any shape."""

_PREFIXES = {"label": "LABEL", "jurisdiction": "LAW", "practice": "PRACTICE"}


def judge(case: Case, book: Book) -> tuple[Finding, ...]:
    """Return every finding of a case, in the order label, law, practice, people.

    The label is the one in hand on the day of the work (its lot says which), the law that of the
    site on that day. What nobody could read or look up is ``unknown``, never a pass. The plain
    finding that a person holds no licence gives way to a rule on supervision that says the same.
    """
    facts = facts_of(case)

    def product_of(use: Application) -> Product | None:
        return book.product(use.product, use.date, use.lot)

    by_family = {
        family: Tools(book.units, facts, code, product_of) for family, code in _PREFIXES.items()
    }
    tools = by_family["practice"]
    label = None
    if case.product is not None:
        label = book.label_for(case.product.id, case.use.date, case.use.lot)
    laws = book.laws_of(case.use.jurisdiction)
    files = [file for file in (label, *laws, *book.practices) if file is not None]
    found: list[Finding] = [] if label is not None else [_label_unreadable(case)]
    outcomes = [o for file in files for o in _outcomes(case, file, by_family[file.family])]
    outcomes += _of_the_tank(case, book, label, by_family["label"])
    found += strictest_of(outcomes, tools)
    gone = superseded(laws, case.use.date)
    for file in files:
        for rule in file.requirements:
            if (file.id, rule.name) in gone:
                continue
            found += check_requirement(case, rule, by_family[file.family])
    if book.jurisdiction(case.use.jurisdiction) is None:
        found.append(not_on_file(case))
    found += (finding for law in laws for finding in check_registered(case, law))
    found += (finding for habit in HABITS for finding in habit(case, tools, book))
    found += _people(case, found)
    found += (finding for file in files for finding in _stale(file, case.use.date))
    return tuple(found)


def superseded(laws: Iterable[RuleFile], day: date) -> frozenset[tuple[str, str]]:
    """Return the rules, as file id and name, that give way on that day to one that was read."""
    return frozenset(
        (home or file.id, name)
        for file in laws
        for rule in file.orders
        if rule.read.decides and rule.span.holds(day)
        for home, _, name in (text.rpartition("/") for text in rule.supersedes)
    )


def _label_unreadable(case: Case) -> Finding:
    text = f"cannot tell what the label of {case.use.product_name or case.use.product_key} says"
    way_out = "mend the label file, then have the entry judged again"
    return Finding(Kind.UNKNOWN, "LABEL-CANNOT-TELL", "label-cannot-tell", text, "product", way_out)


def _outcomes(case: Case, file: RuleFile, tools: Tools) -> Iterator[Outcome]:
    """Yield every limit of a file that is in force on the day, with what its check found."""
    for limit in file.limits:
        if not limit.span.holds(case.use.date):
            continue
        applies = holds(limit.when, tools.facts, tools.units)
        if applies is False:
            continue
        found = tuple(CHECKS[limit.shape](case, limit, tools))
        if applies is None:
            found = tuple(_undecided(limit, found))
        yield Outcome(limit, found)


def _of_the_tank(case: Case, book: Book, label: RuleFile | None, tools: Tools) -> Iterator[Outcome]:
    """Yield what the labels of the other products in the tank say of the whole of it."""
    seen = {label.digest if label else ""}
    for mate in tank_mates(case):
        other = book.label_for(mate.product, mate.date, mate.lot)
        if other is not None and other.digest not in seen:
            seen.add(other.digest)
            limits = tuple(limit for limit in other.limits if binds_the_tank(limit))
            yield from _outcomes(case, replace(other, limits=limits), tools)


def _undecided(limit: Limit, found: Iterable[Finding]) -> Iterator[Finding]:
    """Yield one unknown where a rule would find something but may not apply at all."""
    for finding in found:
        if finding.kind is not Kind.ADVICE:
            text = f"cannot tell whether this rule applies: {limit.says}"
            yield replace(finding, kind=Kind.UNKNOWN, text=text, blocks=False)
            return


def _people(case: Case, found: Iterable[Finding]) -> Iterator[Finding]:
    """Yield the findings on licences, unless a rule on supervision has said so already."""
    supervision = {Shape.SUPERVISION.name}
    said = any(
        finding.kind is Kind.BREACH and finding.code.partition("-")[2] in supervision
        for finding in found
    )
    for finding in check_people(case):
        if not (said and finding.kind is Kind.BREACH):
            yield finding


def _stale(file: RuleFile, day: date) -> Iterator[Finding]:
    """Yield advice where a rule file was last checked too long before the day of the work."""
    if _stale_from(file.checked_on, file.stale_after_months) < day:
        text = f"{file.path} was last checked on {file.checked_on}; look whether it still holds"
        yield Finding(
            Kind.ADVICE, "RULES-STALE", "stale", text, "", "check the file and its checked_on"
        )


_stale_from = lru_cache(maxsize=1024)(months_after)
