"""Rates, counts and strengths: amounts against a measure of what was treated."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.dose import dose, in_unit, strength_as
from ledger.checks.say import Tools, finding, over, per_words, plain, said, under
from ledger.rulebook.model import Limit
from ledger.values.amount import Basis, Quantity
from ledger.values.finding import Finding, Kind

_BASIS_WORDS = {Basis.PRODUCT: "", Basis.MIX: " of mix", Basis.INGREDIENT: " of active ingredient"}
_LENGTH_WORDS = {"length": "the length of the gap", "area": "the area treated",
                 "volume": "the space treated"}  # fmt: skip


def extent(case: Case, what: str) -> Quantity | None:
    """Return a measure of the line's extent.

    A dwelling is one dwelling, and a room whose sides are given is one room, unless the line
    says more. Nothing else is taken for granted.
    """
    measure = case.use.extent.get(what)
    if measure is not None:
        return measure if measure.value > 0 else None
    one = Quantity(Fraction(1), "each")
    if what == "dwellings" and case.use.site_kind in {"dwelling", "apartment"}:
        return one
    return one if what == "rooms" and case.use.extent.get("room length") is not None else None


def check_rate(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge an amount per length, area, space or count; an average proves a breach, no pass."""
    bound = limit.most or limit.least
    if bound is None or limit.per is None:
        return
    amount = dose(case, limit.basis, tools)
    value = None if amount is None else in_unit(amount, bound.unit, case.product, tools)
    if value is None:
        text = f"cannot tell the rate: how much{_BASIS_WORDS[limit.basis]} was used in {bound.unit}"
        yield finding(limit, tools, Kind.UNKNOWN, f"{text} is not known", "amount")
        return
    measure = extent(case, limit.per_what)
    share = None if measure is None else tools.into(measure, limit.per.unit)
    if measure is None or not share:
        what = _LENGTH_WORDS.get(limit.per_what, f"the number of {limit.per_what}")
        per = per_words(limit.per, limit.per_what)
        text = f"cannot tell the rate per {per}: {what} is not given"
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", f"amend the extent with {what}")
        return
    rate = Quantity(value / (share / limit.per.value), bound.unit)
    averaged = limit.per.unit == "each" and limit.per.value == 1 and measure.value > 1
    yield from _bounds(limit, tools, rate, averaged)


def _bounds(limit: Limit, tools: Tools, rate: Quantity, averaged: bool) -> Iterator[Finding]:
    """Hold a rate in the unit of the bound against most and least."""
    assert limit.per is not None
    per = per_words(limit.per, limit.per_what)
    on_average = " on average" if averaged else ""
    text = f"{said(rate)}{_BASIS_WORDS[limit.basis]} per {per}{on_average}"
    most, least = limit.most, limit.least
    if most is not None and over(rate.value, most.value, limit.inclusive):
        text = f"{text}, {tools.authority} allows {said(most)}"
        yield finding(limit, tools, Kind.BREACH, text, _column(limit))
    elif least is not None and _below(rate, least, limit, tools):
        text = f"{text}, {tools.authority} names at least {said(least)}"
        yield finding(limit, tools, Kind.ADVICE, text, _column(limit))
    elif averaged and most is not None:
        text = f"{text}; {tools.authority} allows {said(most)}, and an average is no proof"
        yield finding(limit, tools, Kind.ADVICE, text, _column(limit))


def _column(limit: Limit) -> str:
    return "extent" if limit.measure else "amount"


def _below(rate: Quantity, least: Quantity, limit: Limit, tools: Tools) -> bool:
    value = tools.into(rate, least.unit)
    return value is not None and under(value, least.value, limit.inclusive)


def check_count(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge a number of placements, cans or spots per dwelling or room."""
    if limit.most is None or limit.per is None:
        return
    counted = case.use.extent.get(limit.measure)
    measure = extent(case, limit.per_what)
    missing = limit.measure if counted is None else limit.per_what
    if counted is None or measure is None:
        text = (
            f"cannot tell how many {limit.measure} per {per_words(limit.per, limit.per_what)}:"
            f" the number of {missing} is not given"
        )
        way_out = f"amend the extent with the number of {missing}"
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
        return
    rate = counted.value * limit.per.value / measure.value
    per, most = per_words(limit.per, limit.per_what), plain(limit.most.value)
    averaged = measure.value > limit.per.value
    text = f"{plain(rate)} {limit.measure} per {per}{' on average' if averaged else ''}"
    if over(rate, limit.most.value, limit.inclusive):
        text = f"{text}, {tools.authority} allows {most}"
        yield finding(limit, tools, Kind.BREACH, text, "extent")
    elif averaged:
        text = f"{text}; {tools.authority} allows {most}, and an average is no proof"
        yield finding(limit, tools, Kind.ADVICE, text, "extent")


def check_strength(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge how strong the mix was, whichever of the two ways line and label say it."""
    bound = limit.most or limit.least
    if bound is None:
        return
    value = strength_as(case, limit, bound.unit, tools)
    if value is None:
        text = "cannot tell how strong the mix was"
        way_out = "amend the dilution, as 1 fl oz/gal, 0.06 % ai or 1 % product"
        yield finding(limit, tools, Kind.UNKNOWN, text, "dilution", way_out)
        return
    of = " per " + said(limit.per) + " of mix" if limit.per else _per_cent_of(limit.basis)
    strong = Quantity(value, bound.unit)
    if limit.most is not None and over(value, limit.most.value, limit.inclusive):
        text = f"{said(strong)}{of}, {tools.authority} allows {said(limit.most)}"
        yield finding(limit, tools, Kind.BREACH, text, "dilution")
    elif limit.least is not None and _weak(strong, limit, tools):
        text = f"{said(strong)}{of}, {tools.authority} names at least {said(limit.least)}"
        yield finding(limit, tools, Kind.ADVICE, text, "dilution")


def _per_cent_of(basis: Basis) -> str:
    return " active ingredient" if basis is Basis.INGREDIENT else " product"


def _weak(strong: Quantity, limit: Limit, tools: Tools) -> bool:
    if limit.least is None:
        return False
    same = strong.unit == limit.least.unit
    value = strong.value if same else tools.into(strong, limit.least.unit)
    return value is not None and under(value, limit.least.value, limit.inclusive)
