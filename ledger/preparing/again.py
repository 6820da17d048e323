"""When it may be done again, what was done there before, and which product could come instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ledger.checks.practice import groups_of
from ledger.checks.say import said
from ledger.preparing.amounts import strength_text
from ledger.preparing.rules_here import Here, assumed, of_shape, rules_over
from ledger.preparing.stage import PROBE, Judged, Said, Stage, source_text
from ledger.rulebook.model import Limit
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.product import Product

_FARTHEST = timedelta(days=366 * 12)
_CLOCK = frozenset({"h", "min", "s"})


@dataclass(frozen=True, slots=True)
class Again:
    """When the same may be done again by one rule: the first day, or hours in words."""

    said: Said
    first_day: date | None


def again_after(
    stage: Stage, rules: Sequence[Here], use: Application, *, done: bool
) -> Iterator[Again]:
    """Yield for every interval the first day on which the judgement lets the work pass.

    With ``done`` that is the day for the same work again, after this one; else the first day on
    which this one may be done, today included.
    """
    for here in of_shape(rules, "interval"):
        limit, source = here.limit, (source_text(here.limit.ref),)
        if limit.least is None:
            continue
        if limit.least.unit in _CLOCK:
            yield Again(Said(f"{limit.says} ({said(limit.least)} after the end)", source), None)
            continue
        day = _first_day(stage, limit, use, done=done)
        if day is not None:
            what = "again" if done else "this may be done"
            where = "the same place" if limit.same == "place" else "this address"
            yield Again(Said(f"{what} from {day} at {where}: {limit.says}", source), day)


def _first_day(stage: Stage, limit: Limit, use: Application, *, done: bool) -> date | None:
    """Return the first day from the work on at which the interval is kept, by the judgement."""
    more = (use,) if done else ()

    def kept(days: int) -> bool:
        later = replace(use, date=use.date + timedelta(days=days), visit=f"{use.visit}+{days}")
        found = stage.judge(later, *more).of(Kind.BREACH)
        return not any(finding.name == limit.name for finding in found)

    if not done and kept(0):
        return use.date
    low, high = 0, 1
    while not kept(high):
        low, high = high, high * 2
        if high > _FARTHEST.days:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if kept(middle) else (middle, high)
    return use.date + timedelta(days=high)


def visits_left(stage: Stage, rules: Sequence[Here], use: Application) -> Iterator[Said]:
    """Yield for every count over time how many more there may be after this one."""
    for here in of_shape(rules, "visits"):
        limit = here.limit
        if limit.most is None:
            continue
        left, most = 0, int(limit.most.value)
        while left <= most and not _broken(stage, limit, use, left + 1):
            left += 1
        if left <= most:
            text = f"after this one {left} more of {most}: {limit.says}"
            yield Said(text, (source_text(limit.ref),))


def _broken(stage: Stage, limit: Limit, use: Application, more: int) -> bool:
    """Say whether so many visits more on the same day would be too many; nearly so is too many."""
    clones = [replace(use, visit=f"{use.visit}+{number}") for number in range(more)]
    found = stage.judge(use, *clones).of(Kind.BREACH, Kind.UNKNOWN)
    return any(finding.name == limit.name for finding in found)


# --- history -----------------------------------------------------------------------------------


def before(stage: Stage, use: Application) -> list[Application]:
    """Return what was done at the site up to the day, newest first."""
    past = [other for other in stage.others if other.date <= use.date]
    return sorted(past, key=lambda other: (other.date, str(other.start)), reverse=True)


def product_of(stage: Stage, use: Application) -> Product | None:
    """Return the product of an application by the label in hand."""
    return stage.book.product(use.product, use.date, use.lot)


def last_groups(stage: Stage, use: Application) -> tuple[date | None, frozenset[str]]:
    """Return the modes of action of the last day of work at the site, and that day."""
    past = [other for other in before(stage, use) if other.date < use.date]
    if not past:
        return None, frozenset()
    day = past[0].date
    groups = [groups_of(product_of(stage, other)) for other in past if other.date == day]
    return day, frozenset().union(*groups)


def history(stage: Stage, use: Application, most: int = 4) -> Iterator[Said]:
    """Yield the last days of work at the site with a product, newest first: when, what, where,
    how long ago, its modes of action."""
    days: dict[tuple[date, str], list[Application]] = {}
    for other in before(stage, use):
        days.setdefault((other.date, other.product_name), []).append(other)
    for (day, name), lines in list(days.items())[:most]:
        groups = ", ".join(sorted(groups_of(product_of(stage, lines[0])))) or "none on file"
        ago = (use.date - day).days
        done = " and ".join(f"{line.method} ({'; '.join(line.places)})" for line in lines)
        text = (
            f"{day}, {ago} day{'' if ago == 1 else 's'} before: {name}, {done};"
            f" mode of action {groups}"
        )
        yield Said(text, ("the ledger",))
    if len(days) > most:
        yield Said(f"and {len(days) - most} more: useledger entries", ("the ledger",))


# --- another product ---------------------------------------------------------------------------


def other_product(stage: Stage, use: Application) -> Said:
    """Return a product of the firm that is lawful here, for this pest and place, with none of the
    last modes of action; or ``none``.

    Lawful is what the judgement finds no breach of, with every pest on its label. What it cannot
    tell of that product yet is counted and said.
    """
    day, last = last_groups(stage, use)
    if day is None:
        return Said("no earlier work at this site: no mode of action to alternate with",
                    ("the ledger",))  # fmt: skip
    since = f"mode of action on {day}: {', '.join(sorted(last)) or 'none on file'}"
    for product in _candidates(stage, use):
        if groups_of(product) & last:
            continue
        judged = try_product(stage, product)
        if judged is None or judged.breaks or _off_label(judged):
            continue
        doubts = len(judged.doubts)
        rules = "1 rule" if doubts == 1 else f"{doubts} rules"
        open_still = f"; {rules} cannot be told yet, so prepare it first" if doubts else ""
        groups = ", ".join(sorted(groups_of(product))) or "none on file"
        itself = " (the planned product itself)" if product.id == use.product else ""
        text = f"{product.name}{itself}, mode of action {groups}; {since}{open_still}"
        return Said(text, (product.file, "common practice, no source: alternate modes of action"))
    return Said(f"none; {since}", ("common practice, no source: alternate modes of action",))


def _candidates(stage: Stage, use: Application) -> list[Product]:
    """Return one product for each label in force on the day, the planned one first; none that is
    in the tank already."""
    ids = dict.fromkeys([use.product, *(product.id for product in stage.lexicon.products)])
    for mate in stage.mates:
        ids.pop(mate.product, None)
    found = (stage.book.product(id_, use.date) for id_ in ids)
    return [product for product in found if product is not None]


def try_product(stage: Stage, product: Product) -> Judged | None:
    """Return the planned line with another product, judged at a small amount of it."""
    changes = {
        "product": product.id, "lot": "", "amount": PROBE, "dilution": "", "basis": "product",
    }  # fmt: skip
    read = stage.read(**changes)
    if read.application is None:
        return None
    rules = rules_over(stage, read.application)
    changes |= assumed(stage, read.application)
    strong = strength_text(rules) if product.diluted else None
    if strong is not None:
        changes |= {"dilution": strong[0], "basis": "mix"}
    read = stage.read(**changes)
    return None if read.application is None else stage.judge(read.application)


def _off_label(judged: Judged) -> bool:
    """Say whether a pest is not on the label: advice in the record, no answer to this question."""

    def about_pests(finding: Finding) -> bool:
        return finding.code == "LABEL-ALLOWED" and finding.column == "pests"

    return any(about_pests(finding) for finding in judged.of(Kind.ADVICE))
