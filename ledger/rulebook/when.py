"""Conditions: whether they hold for a record, in three values."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from fractions import Fraction
from operator import ge, gt, le, lt
from typing import Any

from ledger.rulebook.model import Condition, Op, Test
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.lexicon import fold

_COMPARED: Mapping[Op, Callable[[Fraction, Fraction], bool]] = {
    Op.AT_LEAST: ge,
    Op.AT_MOST: le,
    Op.MORE_THAN: gt,
    Op.LESS_THAN: lt,
}


def holds(condition: Condition, facts: Mapping[str, Any], units: Units) -> bool | None:
    """Say whether ``condition`` holds for ``facts``; None where that cannot be told.

    A fact is a text, a collection of texts, a truth value or a Quantity. A fact that is absent
    cannot be told; one that is None or a blank text is known not to be given, which answers
    ``given`` and leaves every comparison open. An empty collection is known to hold nothing.
    No block at all always holds. Taking a fact away never turns an answer into its opposite.
    """
    if not condition:
        return True
    return _any(_all(_test(test, facts, units) for test in block) for block in condition)


def _all(answers: Iterable[bool | None]) -> bool | None:
    """Return the three-valued "and": one no decides, else one doubt leaves it open."""
    found = set(answers)
    return False if False in found else None if None in found else True


def _any(answers: Iterable[bool | None]) -> bool | None:
    """Return the three-valued "or": one yes decides, else one doubt leaves it open."""
    found = set(answers)
    return True if True in found else None if None in found else False


def _test(test: Test, facts: Mapping[str, Any], units: Units) -> bool | None:
    if test.fact not in facts:
        return None
    fact = facts[test.fact]
    if test.op is Op.GIVEN:
        return _given(fact) is test.flag
    if test.op in _COMPARED:
        return _bounded(test, fact, units)
    words = _as_words(fact)
    if words is None:
        return None
    met = bool(words & {fold(word) for word in test.words})
    return met if test.op is Op.ANY_OF else not met


def _given(fact: object) -> bool:
    """Whether the record says something there; "no" is said, blank is not."""
    return fact is not None and (isinstance(fact, (bool, Quantity)) or bool(fact))


def _as_words(fact: object) -> frozenset[str] | None:
    """Return a fact as the set of its folded words; None where it holds no words."""
    if isinstance(fact, bool):
        return frozenset({"yes" if fact else "no"})
    if isinstance(fact, str):
        return frozenset({fold(fact)}) if fact.strip() else None
    if isinstance(fact, Collection):
        return frozenset(fold(str(word)) for word in fact)
    return None


def _bounded(test: Test, fact: object, units: Units) -> bool | None:
    bound = test.quantity
    if not isinstance(fact, Quantity) or bound is None:
        return None
    value = _in(fact, bound.unit, units)
    if value is None:
        return None
    return _COMPARED[test.op](value, bound.value)


def _in(quantity: Quantity, unit: str, units: Units) -> Fraction | None:
    """Return the value in another unit; None where the two do not measure the same."""
    try:
        return units.convert(quantity, unit).value
    except (KeyError, ValueError):
        return None
