"""Parts of sentences about rules: sources, days, conditions, quantities."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.rulebook.model import Condition, Op, Test
from ledger.values.amount import Quantity
from ledger.values.dated import Span
from ledger.values.rounding import exact_text


def section(title: str, rows: Iterator[str]) -> list[str]:
    """Return a titled part of the page; nothing where it has no rows."""
    shown = [f"  {row}" for row in rows]
    return ["", title, *shown] if shown else []


def ref_words(item: object) -> str:
    """Return what a rule rests on, and its line."""
    ref = item.ref  # type: ignore[attr-defined] # every rule carries one
    read = item.read  # type: ignore[attr-defined]
    return f"\n      [{ref.source}; {read}; line {ref.line}]"


def span_words(span: Span) -> str:
    """Return the days of a rule in words."""
    start = f" from {span.start}" if span.start else ""
    return start + (f" until {span.end}" if span.end else "")


def when_words(condition: Condition) -> str:
    """Return when a rule applies."""
    blocks = [" and ".join(_test(test) for test in block) for block in condition]
    return f" - when {' or '.join(blocks)}" if blocks else ""


def _test(test: Test) -> str:
    name = test.fact.replace("_", " ")
    if test.op is Op.GIVEN:
        return f"{name} is {'given' if test.flag else 'not given'}"
    if test.quantity is not None:
        return f"{name} is {test.op.value.replace('_', ' ')} {quantity_words(test.quantity)}"
    joined = " or ".join(test.words)
    return f"{name} is not {joined}" if test.op is Op.NONE_OF else f"{name} is {joined}"


def quantity_words(quantity: Quantity) -> str:
    """Return a quantity; a count has no unit."""
    unit = "" if quantity.unit == "each" else f" {quantity.unit}"
    return f"{exact_text(quantity.value)}{unit}"
