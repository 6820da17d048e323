"""Parts of sentences about rules: sources, days, conditions, quantities, the mark of doubt."""

from __future__ import annotations

from ledger.rulebook.field_words import FACT_WORDS, FLAG_WORDS, VALUE_WORDS
from ledger.rulebook.model import Condition, Op, Test
from ledger.values.amount import Quantity
from ledger.values.dated import Span
from ledger.values.rounding import exact_text

MARK = "[?]"
"""Stands before everything that rests on a source which was not verified."""

_SIDES = {
    Op.AT_LEAST: "at least", Op.AT_MOST: "at most",
    Op.MORE_THAN: "more than", Op.LESS_THAN: "less than",
}  # fmt: skip


def tail_words(item: object) -> str:
    """Return when a rule applies, what it stands in place of, its days, its line in the file."""
    when = when_words(getattr(item, "when", ()))
    gone = " and ".join(getattr(item, "supersedes", ()))
    over = f", in place of {gone}" if gone else ""
    days = span_words(item.span)  # type: ignore[attr-defined] # every rule carries one
    return f"{when}{over}{days} (line {item.ref.line})"  # type: ignore[attr-defined]


def span_words(span: Span) -> str:
    """Return the days of a rule in words."""
    start = f", from {span.start}" if span.start else ""
    return start + (f", until {span.end}" if span.end else "")


def when_words(condition: Condition) -> str:
    """Return when a rule applies."""
    blocks = [" and ".join(_test(test) for test in block) for block in condition]
    return f", only if {'; or if '.join(blocks)}" if blocks else ""


def _test(test: Test) -> str:
    if set(test.words) <= {"yes", "no"} and len(test.words) == 1 and test.fact in FLAG_WORDS:
        said = (test.words[0] == "yes") is (test.op is Op.ANY_OF)
        return FLAG_WORDS[test.fact][0 if said else 1]
    name = FACT_WORDS.get(test.fact, test.fact.replace("_", " "))
    if test.op is Op.GIVEN:
        return f"{name} is {'named' if test.flag else 'not named'}"
    if test.quantity is not None:
        return f"{name} is {_SIDES[test.op]} {quantity_words(test.quantity)}"
    words = [VALUE_WORDS.get((test.fact, word), word) for word in test.words]
    joined = " or ".join(words)
    return f"{name} is not {joined}" if test.op is Op.NONE_OF else f"{name} is {joined}"


def quantity_words(quantity: Quantity) -> str:
    """Return a quantity; a count has no unit."""
    unit = "" if quantity.unit == "each" else f" {quantity.unit}"
    return f"{exact_text(quantity.value)}{unit}"
