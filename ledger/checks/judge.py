"""Every finding of one application: its label, the law of the place, practice and people."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

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
from ledger.checks.practice import HABITS, Habit
from ledger.checks.rates import check_count, check_rate, check_strength
from ledger.checks.remember import Answers, Bundle, Remembered
from ledger.checks.say import Tools
from ledger.checks.sizes import check_enclosure, check_geometry, check_share, check_spacing
from ledger.checks.strictest import MERGED, Outcome, strictest_of
from ledger.checks.tank import binds_the_tank, check_combination, tank_mates
from ledger.checks.totals import check_total
from ledger.checks.weather import check_weather
from ledger.checks.windows import check_interval, check_visits
from ledger.rulebook.book import Book, months_after
from ledger.rulebook.model import Deadline, Limit, Requirement, Retention, RuleFile, Shape
from ledger.rulebook.when import holds
from ledger.values.dated import Span
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

T = TypeVar("T")
Findings = tuple[Finding, ...]
Order = Requirement | Deadline | Retention
"""A rule that can give way to another, or have another give way."""


@dataclass(frozen=True, slots=True)
class _Part:
    """What some of the rule files say, each rule remembering: a label, the law of a place, or
    practice.

    The places in ``said`` are first those of ``limits`` (which say None where they do not apply),
    from ``rest`` on what is said after the limits of all parts, from ``stale`` on what is said of
    old files.
    """

    limits: tuple[tuple[Limit, Remembered[Findings | None]], ...]
    said: Bundle[Findings | None]
    rest: int
    stale: int


@dataclass(frozen=True, slots=True)
class _Rules:
    """Everything that cases under one label and one law are judged by.

    The parts are shared: many labels stand under one law, and all under the same practice.
    ``people`` are the findings on licences.
    """

    label: RuleFile | None
    parts: tuple[_Part, ...]
    people: Remembered[Findings]


def judge(case: Case, book: Book) -> Findings:
    """Return every finding of a case, in the order label, law, practice, people.

    The label is the one in hand on the day of the work (its lot says which), the law that of the
    site on that day. What nobody could read or look up is ``unknown``, never a pass. The plain
    finding that a person holds no licence gives way to a rule on supervision that says the same.
    What a check found is remembered with the book (``ledger.checks.remember``).
    """
    rules = _rules_for(case, book)
    answers: Answers = {}
    limits: list[Finding] = []
    rest: list[Finding] = []
    stale: list[Finding] = []
    for part in rules.parts:
        for place, said in part.said.of(case, answers):
            into = limits if place < part.rest else rest if place < part.stale else stale
            into += said or ()
    found: list[Finding] = [] if rules.label is not None else [_label_unreadable(case)]
    found += _of_limits(case, book, (rules, answers), limits)
    found += rest
    found += _people(rules.people.of(case, answers), found)
    found += stale
    return tuple(found)


def _rules_for(case: Case, book: Book) -> _Rules:
    """Return the rules of a case, the remembering ones where the case is of this book."""
    label = None
    if case.product is not None:
        label = book.label_for(case.product.id, case.use.date, case.use.lot)
    of_label = label.product if label is not None else None
    own = case.firm is book.firm and case.words is book.words
    if not own or (case.product is not None and case.product is not of_label):
        return _rules(case, book, label, {})
    key = ("rules", label.path if label else None, case.product is None, case.use.jurisdiction)
    if key not in book.memory:
        book.memory[key] = _rules(case, book, label, book.memory)
    kept: _Rules = book.memory[key]
    return kept


def _rules(case: Case, book: Book, label: RuleFile | None, memory: dict[Any, Any]) -> _Rules:
    """Return the rules of all cases that share this one's label and jurisdiction.

    ``memory`` holds the parts that were made before.
    """

    def kept(key: tuple[str, ...], make: Callable[[], T]) -> T:
        if key not in memory:
            memory[key] = make()
        found: T = memory[key]
        return found

    place = case.use.jurisdiction
    parts = [
        kept(("law", place), lambda: _law(place, book)),
        kept(("practice",), lambda: _practice(book)),
    ]
    if label is not None:
        parts.insert(0, kept(("label", label.path), lambda: _part((label,), {}, [], book)))
    people = kept(("people",), lambda: Remembered(lambda case: tuple(check_people(case))))
    return _Rules(label, tuple(parts), people)


def _law(place: str, book: Book) -> _Part:
    laws = book.laws_of(place)
    rest = [_registered(law) for law in laws]
    if book.jurisdiction(place) is None:
        rest.insert(0, lambda case: (not_on_file(case),))
    return _part(laws, _orders_over(laws), rest, book)


def _practice(book: Book) -> _Part:
    return _part(book.practices, {}, [_habit(habit, book) for habit in HABITS], book)


def _part(
    files: Sequence[RuleFile],
    over: Mapping[tuple[str, str], Sequence[Order]],
    after: Sequence[Callable[[Case], Findings]],
    book: Book,
) -> _Part:
    """Return what these files say, ``after`` what is to be said behind their required fields."""
    limits = tuple(
        (limit, Remembered(_limit(file, limit, book))) for file in files for limit in file.limits
    )
    rest = [
        _requirement(file, rule, over.get((file.id, rule.name), ()), book)
        for file in files
        for rule in file.requirements
    ]
    rest += after
    others = [*rest, *map(_stale, files)]
    checks = [*(check for _, check in limits), *map(Remembered[Findings | None], others)]
    return _Part(limits, Bundle(checks), len(limits), len(limits) + len(rest))


def _tools(case: Case, book: Book, family: str) -> Tools:
    def product_of(use: Application) -> Product | None:
        return book.product(use.product, use.date, use.lot)

    return Tools(book.units, facts_of(case), _PREFIXES[family], product_of)


def _limit(file: RuleFile, limit: Limit, book: Book) -> Callable[[Case], Findings | None]:
    """Return what judges one limit of a file; it says None where the limit does not apply."""

    def judged(case: Case) -> Findings | None:
        if not case.in_force(limit.span):
            return None
        tools = _tools(case, book, file.family)
        applies = holds(limit.when, tools.facts, tools.units)
        if applies is False:
            return None
        found = tuple(CHECKS[limit.shape](case, limit, tools))
        return tuple(_undecided(limit, found)) if applies is None else found

    return judged


def _requirement(
    file: RuleFile, rule: Requirement, over: Sequence[Order], book: Book
) -> Callable[[Case], Findings]:
    """Return what judges one required field, except where another rule stands over it.

    That rule must be in force on the day, and its own condition must hold.
    """

    def judged(case: Case) -> Findings:
        tools = _tools(case, book, file.family)
        for order in over:
            if case.in_force(order.span) and holds(order.when, tools.facts, tools.units):
                return ()
        return tuple(check_requirement(case, rule, tools))

    return judged


def _registered(law: RuleFile) -> Callable[[Case], Findings]:
    return lambda case: tuple(check_registered(case, law))


def _habit(habit: Habit, book: Book) -> Callable[[Case], Findings]:
    return lambda case: tuple(habit(case, _tools(case, book, "practice"), book))


def _of_limits(
    case: Case, book: Book, by: tuple[_Rules, Answers], said: list[Finding]
) -> Iterable[Finding]:
    """Return the findings of every limit, of the label's, the law's, practice's, the tank's.

    ``said`` are those that the limits have alone.
    """
    rules, answers = by
    mates = tuple(_of_the_tank(case, book, rules.label)) if case.others else ()
    if not mates and not any(item.kind in MERGED for item in said):
        return said
    # Two rules may have met on one measure: then it matters what the silent ones measure, too.
    limits = (pair for part in rules.parts for pair in part.limits)
    all_said = [(limit, check.of(case, answers)) for limit, check in limits]
    outcomes = [Outcome(limit, found) for limit, found in all_said if found is not None]
    return strictest_of([*outcomes, *mates], _tools(case, book, "practice"))


def _orders_over(laws: Iterable[RuleFile]) -> dict[tuple[str, str], tuple[Order, ...]]:
    """Return, by file id and name, what was read and supersedes a rule."""
    over: dict[tuple[str, str], tuple[Order, ...]] = {}
    for law in laws:
        for order in law.orders:
            for gone in law.gone_by(order) if order.read.decides else ():
                over[gone] = (*over.get(gone, ()), order)
    return over


def _label_unreadable(case: Case) -> Finding:
    text = f"cannot tell what the label of {case.use.product_name or case.use.product_key} says"
    way_out = "mend the label file, then have the entry judged again"
    return Finding(Kind.UNKNOWN, "LABEL-CANNOT-TELL", "label-cannot-tell", text, "product", way_out)


def _of_the_tank(case: Case, book: Book, label: RuleFile | None) -> Iterator[Outcome]:
    """Yield what the labels of the other products in the tank say of the whole of it."""
    seen = {label.digest if label else ""}
    for mate in tank_mates(case):
        other = book.label_for(mate.product, mate.date, mate.lot)
        if other is not None and other.digest not in seen:
            seen.add(other.digest)
            for limit in filter(binds_the_tank, other.limits):
                found = _limit(other, limit, book)(case)
                if found is not None:
                    yield Outcome(limit, found)


def _undecided(limit: Limit, found: Iterable[Finding]) -> Iterator[Finding]:
    """Yield one unknown where a rule would find something but may not apply at all."""
    for finding in found:
        if finding.kind is not Kind.ADVICE:
            text = f"cannot tell whether this rule applies: {limit.says}"
            yield replace(finding, kind=Kind.UNKNOWN, text=text, blocks=False)
            return


def _people(on_licences: Findings, found: Iterable[Finding]) -> Findings:
    """Return the findings on licences, unless a rule on supervision has said so already."""
    if not on_licences:
        return ()
    supervision = {Shape.SUPERVISION.name}
    said = any(
        finding.kind is Kind.BREACH and finding.code.partition("-")[2] in supervision
        for finding in found
    )
    return tuple(item for item in on_licences if not (said and item.kind is Kind.BREACH))


def _stale(file: RuleFile) -> Callable[[Case], Findings]:
    """Return what advises where a file was last checked too long before the day of the work."""
    fresh = Span(None, months_after(file.checked_on, file.stale_after_months))
    text = f"{file.path} was last checked on {file.checked_on}; look whether it still holds"
    way_out = "check the file and its checked_on"
    advice = (Finding(Kind.ADVICE, "RULES-STALE", "stale", text, "", way_out),)
    return lambda case: () if case.in_force(fresh) else advice
