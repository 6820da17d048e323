"""A rule file in plain words, with its sources and what was not read."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.rulebook.model import Condition, Limit, Op, Requirement, RuleFile, Source, Test
from ledger.values.amount import Quantity
from ledger.values.dated import Span
from ledger.values.rounding import exact_text


def tell(file: RuleFile) -> list[str]:
    """Return the lines that ``rules show`` prints for a rule file."""
    lines = [f"{file.title} ({file.id})", f"{file.path}, checked on {file.checked_on}"]
    lines += [*_product(file), *_section("Limits", (_limit(limit) for limit in file.limits))]
    lines += _section("A record must hold", (_requirement(item) for item in file.requirements))
    lines += _section("By when", (
        f"{item.what}: within {_quantity(item.within)}{_span(item.span)}{_ref(item)}"
        for item in file.deadlines
    ))  # fmt: skip
    lines += _section("Kept for", (
        f"{item.years} years, counted from {item.counted_from}{_span(item.span)}{_ref(item)}"
        for item in file.retentions
    ))  # fmt: skip
    lines += _section("Reports", (
        f"{item.form}: every {item.every}, per {item.per}, due on day {item.due_day}"
        f"{', also for a month without work' if item.nil else ''}{_span(item.span)}{_ref(item)}"
        for item in file.reports
    ))  # fmt: skip
    lines += _section("Not read, so never passed", (
        f"{item.section}: {item.note}" for item in file.unread
    ))  # fmt: skip
    lines += _section("Sources", (_source(source) for source in file.sources))
    return lines


def _section(title: str, rows: Iterator[str]) -> list[str]:
    shown = [f"  {row}" for row in rows]
    return ["", title, *shown] if shown else []


def _product(file: RuleFile) -> list[str]:
    product = file.product
    if product is None:
        return []
    number = product.registration or "no registration number (minimum risk)"
    actives = ", ".join(
        f"{item.name} {exact_text(item.share * 100)} %"
        + (f" (group {item.group})" if item.group else "")
        for item in product.ingredients
    )
    gravity = product.specific_gravity
    return [
        f"{product.name}, {number}, {product.formulation}, {product.product_class}",
        f"active ingredients: {actives}",
        f"signal word: {product.signal_word or 'none'}"
        + (f"; specific gravity {exact_text(gravity)}" if gravity is not None else ""),
    ]


def _limit(limit: Limit) -> str:
    force = "" if limit.mandatory else " (advice)"
    return f"{limit.says}{force}{_when(limit.when)}{_span(limit.span)}{_ref(limit)}"


def _requirement(item: Requirement) -> str:
    either = " or ".join(" and ".join(group) for group in item.groups)
    return f"{either}: {item.says}{_when(item.when)}{_span(item.span)}{_ref(item)}"


def _ref(item: object) -> str:
    ref = item.ref  # type: ignore[attr-defined] # every rule carries one
    read = item.read  # type: ignore[attr-defined]
    return f"\n      [{ref.source}; {read}; line {ref.line}]"


def _span(span: Span) -> str:
    start = f" from {span.start}" if span.start else ""
    return start + (f" until {span.end}" if span.end else "")


def _when(condition: Condition) -> str:
    blocks = [" and ".join(_test(test) for test in block) for block in condition]
    return f" - when {' or '.join(blocks)}" if blocks else ""


def _test(test: Test) -> str:
    name = test.fact.replace("_", " ")
    if test.op is Op.GIVEN:
        return f"{name} is {'given' if test.flag else 'not given'}"
    if test.quantity is not None:
        word = "at least" if test.op is Op.AT_LEAST else "at most"
        return f"{name} is {word} {_quantity(test.quantity)}"
    joined = " or ".join(test.words)
    return f"{name} is not {joined}" if test.op is Op.NONE_OF else f"{name} is {joined}"


def _quantity(quantity: Quantity) -> str:
    unit = "" if quantity.unit == "each" else f" {quantity.unit}"
    return f"{exact_text(quantity.value)}{unit}"


def _source(source: Source) -> str:
    parts = [source.title, source.section, source.link, str(source.read), source.note]
    return f"{source.key}: " + "; ".join(part for part in parts if part)
