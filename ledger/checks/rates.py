"""Rates, counts and strengths: amounts against a measure of what was treated."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.dose import dose, in_unit, ingredient_used, share_in_mix, strength_as
from ledger.checks.places import known
from ledger.checks.same import actives
from ledger.checks.say import Tools, below, finding, over, per_words, plain, said, under
from ledger.checks.tank import case_of, possible_mates, tank_mates
from ledger.rulebook.model import Limit
from ledger.values.amount import Basis, Quantity
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind

_BASIS_WORDS = {Basis.PRODUCT: "", Basis.MIX: " of mix", Basis.INGREDIENT: " of active ingredient"}
_LENGTH_WORDS = {"length": "the length of the gap", "area": "the area treated",
                 "volume": "the space treated"}  # fmt: skip


def extent(case: Case, what: str, of: str = "treated") -> Quantity | None:
    """Return a measure of the line's extent, treated or total.

    A dwelling is one dwelling, a site of a known kind one structure, and a room whose sides are
    given is one room, unless the line says more. Nothing else is taken for granted.
    """
    measure = case.use.extent.get(f"total {what}" if of == "total" else what)
    if measure is not None:
        return measure if measure.value > 0 else None
    one = Quantity(Fraction(1), "each")
    if what == "dwellings" and case.use.site_kind in {"dwelling", "apartment"}:
        return one
    if what == "structures" and known(case.words, "site_kind", case.use.site_kind):
        return one if case.use.site_kind else None
    return one if what == "rooms" and case.use.extent.get("room length") is not None else None


def check_rate(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge an amount per length, area, space or count; an average proves a breach, no pass."""
    bound = limit.most or limit.least
    if bound is None or limit.per is None:
        return
    amount = counted_dose(case, limit, tools)
    value = None if amount is None else in_unit(amount, bound.unit, case.product, tools)
    if value is None:
        text = f"cannot tell the rate: how much{_BASIS_WORDS[limit.basis]} was used in {bound.unit}"
        yield finding(limit, tools, Kind.UNKNOWN, f"{text} is not known", "amount")
        return
    units, lacking = denominators(case, limit, tools)
    if units is None:
        text = f"cannot tell the rate per {_per(limit)}: {lacking} is not given"
        way_out = f"amend the extent with {lacking}{_by_its_sides(case, limit, tools)}"
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
        return
    rate = Quantity(value / units, bound.unit)
    counted = limit.per.unit == "each" and limit.per.value == 1
    measure = extent(case, limit.per_what, limit.of)
    averaged = counted and measure is not None and measure.value > 1
    found = tuple(_bounds(case, limit, tools, rate, averaged))
    yield from found
    if limit.basis is Basis.INGREDIENT and not any(f.kind is Kind.BREACH for f in found):
        yield from _perhaps_over(case, limit, tools, (value, units))


def _perhaps_over(
    case: Case, limit: Limit, tools: Tools, own: tuple[Fraction, Fraction]
) -> Iterator[Finding]:
    """Say that it cannot be told where lines without a mark would break the rate in one tank."""
    mates = possible_mates(case, tools)
    if not mates or limit.most is None:
        return
    names = actives(case.product)
    total: Fraction | None = own[0]
    for mate in mates:
        brought = ingredient_used(case_of(case, mate, tools), tools, names)
        value = None if brought is None else tools.into(brought, limit.most.unit)
        total = None if total is None or value is None else total + value
    if total is None or over(total / own[1], limit.most.value, limit.inclusive):
        listed = ", ".join(sorted({mate.product_name for mate in mates}))
        text = f"cannot tell the rate per {_per(limit)}: {listed} may have been in the same tank"
        yield finding(limit, tools, Kind.UNKNOWN, text, "mix", _MARK_IT)


_MARK_IT = 'amend mix, with one mark on every line of the tank, or "alone"'


def times_the_most(case: Case, limit: Limit, tools: Tools) -> Fraction | None:
    """Return how many times the most of a rate was used; None where that cannot be told."""
    if limit.most is None or limit.per is None:
        return None
    amount = counted_dose(case, limit, tools)
    value = None if amount is None else in_unit(amount, limit.most.unit, case.product, tools)
    units, _ = denominators(case, limit, tools)
    return None if value is None or not units else value / units / limit.most.value


def counted_dose(case: Case, limit: Limit, tools: Tools) -> Quantity | None:
    """Return what a rate counts; of an active ingredient, what the whole tank brought of it."""
    own = dose(case, limit.basis, tools)
    if limit.basis is not Basis.INGREDIENT or own is None:
        return own
    names = actives(case.product)
    total = own.value
    for mate in tank_mates(case):
        brought = ingredient_used(case_of(case, mate, tools), tools, names)
        if brought is None:
            return None
        total += brought.value
    return Quantity(total, own.unit)


def denominators(case: Case, limit: Limit, tools: Tools) -> tuple[Fraction | None, str]:
    """Return how many times the denominator was treated, or what is not given of it."""
    assert limit.per is not None
    measure = extent(case, limit.per_what, limit.of)
    share = None if measure is None else tools.into(measure, limit.per.unit)
    if not share:
        total = f"the total {limit.per_what} of the site"
        what = _LENGTH_WORDS.get(limit.per_what, f"the number of {limit.per_what}")
        return None, total if limit.of == "total" else what
    units = share / limit.per.value
    if limit.also_per is None:
        return units, ""
    second = case.use.extent.get(limit.also_per_what)
    also = None if second is None else tools.into(second, limit.also_per.unit)
    if not also:
        return None, f"the {limit.also_per_what}"
    return units * also / limit.also_per.value, ""


def _by_its_sides(case: Case, limit: Limit, tools: Tools) -> str:
    """Return what a strip comes to whose length and breadth are given, for whoever lacks its area.

    It is offered, not taken: how far up and out of it was treated, only the applicator knows.
    """
    if limit.per_what != "area" or limit.of == "total":
        return ""
    given = case.use.extent.get
    up_and_out = [side for side in (given("height"), given("distance out")) if side is not None]
    length, width = given("length"), given("width")
    breadths = up_and_out or ([] if width is None else [width])
    if length is None or not breadths:
        return ""
    long, *broad = (tools.into(side, "ft") or 0 for side in (length, *breadths))
    words = " and ".join(map(said, breadths))
    area = plain(Fraction(long * sum(broad)))
    return f"; {said(length)} by {words} is {area} sq ft, if all of that was treated"


_DEEP = {"depth": "deep", "width": "wide", "height": "high"}


def _per(limit: Limit) -> str:
    """Return the denominator in words: ``100 ft``, ``10 ft and 1 ft deep``."""
    assert limit.per is not None
    words = per_words(limit.per, limit.per_what)
    if limit.of == "total":
        words = f"{words} of the whole site"
    if limit.also_per is None:
        return words
    return f"{words} and {said(limit.also_per)} {_DEEP[limit.also_per_what]}"


def _bounds(
    case: Case, limit: Limit, tools: Tools, rate: Quantity, averaged: bool
) -> Iterator[Finding]:
    """Hold a rate in the unit of the bound against most and least."""
    most, least = limit.most, limit.least
    if most is not None and over(rate.value, most.value, limit.inclusive):
        kind, said_of = Kind.BREACH, f", {tools.authority} allows {said(most)}"
    elif least is not None and _below(rate, least, limit, tools):
        kind, said_of = below(limit), f", {tools.authority} names at least {said(least)}"
    elif averaged and most is not None:
        kind = Kind.ADVICE
        said_of = f"; {tools.authority} allows {said(most)}, and an average is no proof"
    else:
        return
    on_average = " on average" if averaged else ""
    if case.use.used.estimate:
        on_average = f"{on_average}, estimated by calibration"
    text = f"{said(rate)}{_BASIS_WORDS[limit.basis]} per {_per(limit)}{on_average}{said_of}"
    yield finding(limit, tools, kind, text, _column(limit))


def _column(limit: Limit) -> str:
    return "extent" if limit.measure else "amount"


def _below(rate: Quantity, least: Quantity, limit: Limit, tools: Tools) -> bool:
    value = tools.into(rate, least.unit)
    return value is not None and under(value, least.value, limit.inclusive)


def check_count(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge a number of placements, cans, spots or voids per dwelling, room, area or length."""
    if limit.per is None:
        return
    counted = case.use.extent.get(limit.measure)
    units, lacking = denominators(case, limit, tools)
    per = per_words(limit.per, limit.per_what)
    if counted is None or units is None:
        missing = f"the number of {limit.measure}" if counted is None else lacking
        text = f"cannot tell how many {limit.measure} per {per}: {missing} is not given"
        way_out = f"amend the extent with {missing}"
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
        return
    rate = counted.value / units
    averaged = limit.per.unit == "each" and units > 1
    if limit.most is not None and over(rate, limit.most.value, limit.inclusive):
        kind, said_of = Kind.BREACH, f", {tools.authority} allows {plain(limit.most.value)}"
    elif limit.least is not None and under(rate, limit.least.value, limit.inclusive):
        kind = below(limit)
        said_of = f", {tools.authority} names at least {plain(limit.least.value)}"
    elif averaged and limit.most is not None:
        kind = Kind.ADVICE
        most = plain(limit.most.value)
        said_of = f"; {tools.authority} allows {most}, and an average is no proof"
    else:
        return
    on_average = " on average" if averaged else ""
    text = f"{plain(rate)} {limit.measure} per {per}{on_average}{said_of}"
    yield finding(limit, tools, kind, text, "extent")


def check_strength(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge how strong the mix was, whichever of the two ways line and label say it."""
    bound = limit.most or limit.least
    if bound is None:
        return
    value = strength_as(case, limit, bound.unit, tools)
    of_active = limit.per is None and limit.basis is Basis.INGREDIENT
    if of_active:
        value = _with_tank(case, value, (bound.unit, tank_mates(case)), tools)
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
        return
    if of_active:
        yield from _perhaps_more(case, limit, tools, strong)
    if limit.least is not None and _weak(strong, limit.least, tools, inclusive=limit.inclusive):
        text = f"{said(strong)}{of}, {tools.authority} names at least {said(limit.least)}"
        yield finding(limit, tools, below(limit), text, "dilution")


def _with_tank(
    case: Case, own: Fraction | None, what: tuple[str, tuple[Application, ...]], tools: Tools
) -> Fraction | None:
    """Return a share of active ingredient with what other products of the tank add to it."""
    unit, mates = what
    names = actives(case.product)
    for mate in mates:
        share = share_in_mix(case_of(case, mate, tools), Basis.INGREDIENT, tools, names)
        added = None if share is None else tools.into(Quantity(share, "%"), unit)
        own = None if own is None or added is None else own + added
    return own


def _perhaps_more(case: Case, limit: Limit, tools: Tools, strong: Quantity) -> Iterator[Finding]:
    """Say that it cannot be told where lines without a mark would break the limit in one tank."""
    mates = possible_mates(case, tools)
    if not mates or limit.most is None:
        return
    value = _with_tank(case, strong.value, (strong.unit, mates), tools)
    if value is None or over(value, limit.most.value, limit.inclusive):
        names = ", ".join(sorted({mate.product_name for mate in mates}))
        text = f"cannot tell how strong the mix was: {names} may have been in the same tank"
        yield finding(limit, tools, Kind.UNKNOWN, text, "mix", _MARK_IT)


def _per_cent_of(basis: Basis) -> str:
    return " active ingredient" if basis is Basis.INGREDIENT else " product"


def _weak(strong: Quantity, least: Quantity, tools: Tools, *, inclusive: bool) -> bool:
    same = strong.unit == least.unit
    value = strong.value if same else tools.into(strong, least.unit)
    return value is not None and under(value, least.value, inclusive)
