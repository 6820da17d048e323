"""Every finding of one application: its label, the law of the place, practice and people."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

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

Findings = tuple[Finding, ...]
Order = Requirement | Deadline | Retention
"""A rule that can give way to another, or have another give way."""


@dataclass(frozen=True, slots=True)
class _Rules:
    """Everything that cases under one label and one law are judged by, each part remembering.

    ``limits`` say None where they do not apply. ``rest`` is what is said after them; ``people``
    are the findings on licences, ``stale`` what is said of old files.
    """

    label: RuleFile | None
    limits: tuple[tuple[Limit, Remembered[Findings | None]], ...]
    by_limits: Bundle[Findings | None]
    rest: Bundle[Findings]
    people: Remembered[Findings]
    stale: Bundle[Findings]


def judge(case: Case, book: Book) -> Findings:
    """Return every finding of a case, in the order label, law, practice, people.

    The label is the one in hand on the day of the work (its lot says which), the law that of the
    site on that day. What nobody could read or look up is ``unknown``, never a pass. The plain
    finding that a person holds no licence gives way to a rule on supervision that says the same.
    What a check found is remembered with the book (``ledger.checks.remember``).
    """
    rules = _rules_for(case, book)
    answers: Answers = {}
    found: list[Finding] = [] if rules.label is not None else [_label_unreadable(case)]
    found += _of_limits(case, book, rules, answers)
    for _, said in rules.rest.of(case, answers):
        found += said
    found += _people(rules.people.of(case, answers), found)
    for _, said in rules.stale.of(case, answers):
        found += said
    return tuple(found)


def _rules_for(case: Case, book: Book) -> _Rules:
    """Return the rules of a case, the remembering ones where the case is of this book."""
    label = None
    if case.product is not None:
        label = book.label_for(case.product.id, case.use.date, case.use.lot)
    of_label = label.product if label is not None else None
    own = case.firm is book.firm and case.words is book.words
    if not own or (case.product is not None and case.product is not of_label):
        return _rules(case, book, label)
    key = ("rules", label.path if label else None, case.product is None, case.use.jurisdiction)
    if key not in book.memory:
        book.memory[key] = _rules(case, book, label)
    kept: _Rules = book.memory[key]
    return kept


def _rules(case: Case, book: Book, label: RuleFile | None) -> _Rules:
    """Return the rules of all cases that share this one's label and jurisdiction."""
    laws = book.laws_of(case.use.jurisdiction)
    files = [file for file in (label, *laws, *book.practices) if file is not None]
    remembered, over = Remembered[Findings], _orders_over(laws)
    rest = [
        remembered(_requirement(file, rule, over.get((file.id, rule.name), ()), book))
        for file in files
        for rule in file.requirements
    ]
    if book.jurisdiction(case.use.jurisdiction) is None:
        rest.append(remembered(lambda case: (not_on_file(case),)))
    rest += [remembered(_registered(law)) for law in laws]
    rest += [remembered(_habit(habit, book)) for habit in HABITS]
    limits = [
        (limit, Remembered(_limit(file, limit, book))) for file in files for limit in file.limits
    ]
    return _Rules(
        label,
        tuple(limits),
        Bundle([check for _, check in limits]),
        Bundle(rest),
        remembered(lambda case: tuple(check_people(case))),
        Bundle([remembered(_stale(file)) for file in files]),
    )


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


def _of_limits(case: Case, book: Book, rules: _Rules, answers: Answers) -> Iterable[Finding]:
    """Return the findings of every limit, of the label's, the law's, practice's, the tank's."""
    said = [item for _, found in rules.by_limits.of(case, answers) for item in found or ()]
    mates = tuple(_of_the_tank(case, book, rules.label)) if case.others else ()
    if not mates and not any(item.kind in MERGED for item in said):
        return said
    # Two rules may have met on one measure: then it matters what the silent ones measure, too.
    all_said = [(limit, check.of(case, answers)) for limit, check in rules.limits]
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
