"""Two rules on one measure: the strictest is the finding, and both rules are named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ledger.checks.say import Tools
from ledger.rulebook.model import Limit, Shape
from ledger.values.amount import Quantity
from ledger.values.finding import Finding, Kind

MERGED = frozenset({Kind.BREACH, Kind.UNKNOWN})
"""The kinds of finding that are merged where two rules meet on one measure."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """A limit that is in force, and what its check found."""

    limit: Limit
    found: tuple[Finding, ...]


def measure_of(limit: Limit) -> tuple[str, ...] | None:
    """Return what a limit measures, so that two limits on the same can meet; None where a shape
    has no single measure (lists of words stand each for itself)."""
    if not (limit.mandatory and limit.read.decides):
        return None
    side = "most" if limit.most is not None else "least"
    key: tuple[str, ...]
    match limit.shape:
        case Shape.RATE | Shape.COUNT | Shape.STRENGTH:
            key = (
                str(limit.basis), limit.measure, limit.per_what, limit.of, limit.also_per_what,
                str(limit.also_per),
            )  # fmt: skip
        case Shape.GEOMETRY | Shape.WEATHER | Shape.ENCLOSURE | Shape.SPACING | Shape.SHARE:
            key = (limit.measure, "", "")
        case Shape.INTERVAL | Shape.VISITS | Shape.TOTAL:
            key = (
                limit.same, limit.within, limit.measure, limit.across, limit.counting,
                str(limit.rolling), str(limit.season), str(limit.basis), limit.per_what, limit.of,
                *sorted(limit.words),
            )  # fmt: skip
        case Shape.REENTRY if not limit.words:
            key = ("hours",)
        case Shape.BUFFER | Shape.SUPERVISION | Shape.ASK:
            key = (*limit.words, "", "")
        case _:
            return None
    return (str(limit.shape), *key, side)


def stricter(one: Limit, two: Limit, tools: Tools) -> bool:
    """Say whether the first limit is stricter than the second, or as strict."""
    first, second = _bound(one, one, tools), _bound(two, one, tools)
    if first is None or second is None:
        return True
    return first <= second if one.most is not None else first >= second


def _bound(limit: Limit, like: Limit, tools: Tools) -> Fraction | None:
    """Return a limit's bound for one unit of its denominator, in the units of ``like``."""
    bound, wanted = limit.most or limit.least, like.most or like.least
    if limit.shape is Shape.REENTRY:
        bound, wanted = limit.lasting, like.lasting
    if bound is None or wanted is None:
        return None
    value = _into(bound, wanted.unit, tools)
    if value is None or limit.shape is Shape.ENCLOSURE or limit.per is None or like.per is None:
        return value
    per = _into(limit.per, like.per.unit, tools)
    return value / per if per else None


def _into(quantity: Quantity, unit: str, tools: Tools) -> Fraction | None:
    """Return a value in another unit; months and years compare roughly, as days."""
    days = {"day": Fraction(1), "month": Fraction(30), "year": Fraction(365)}
    if quantity.unit == unit:
        return quantity.value
    if quantity.unit in days and unit in days:
        return quantity.value * days[quantity.unit] / days[unit]
    return tools.into(quantity, unit)


def strictest_of(outcomes: Sequence[Outcome], tools: Tools) -> tuple[Finding, ...]:
    """Return the findings of all outcomes, those on one measure merged, in their order."""
    found = tuple(finding for outcome in outcomes for finding in outcome.found)
    if not any(finding.kind in MERGED for finding in found):
        return found  # nothing to merge: most lines break nothing
    groups: dict[tuple[str, ...], list[Outcome]] = {}
    order: list[list[Outcome]] = []
    for outcome in outcomes:
        key = measure_of(outcome.limit)
        if key is None:
            order.append([outcome])
        elif key in groups:
            groups[key].append(outcome)
        else:
            order.append(groups.setdefault(key, [outcome]))
    return tuple(finding for group in order for finding in _merged(group, tools))


def _merged(group: list[Outcome], tools: Tools) -> list[Finding]:
    if len(group) == 1:
        return list(group[0].found)
    refs = tuple(outcome.limit.ref for outcome in group)
    kept: list[Finding] = []
    for kind in Kind:
        hits = [(o.limit, f) for o in group for f in o.found if f.kind is kind]
        if kind in MERGED and hits:
            limit = hits[0][0]
            for other, _ in hits[1:]:
                limit = limit if stricter(limit, other, tools) else other
            rest = tuple(ref for ref in refs if ref != limit.ref)
            kept += [replace(f, rules=(*f.rules, *rest)) for item, f in hits if item is limit]
        else:
            kept += [finding for _, finding in hits]
    return kept
