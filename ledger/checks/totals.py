"""Sums across records: how much of a product or an active ingredient in a window, at one place.

Every line of the window adds what it put down; a line of which that cannot be told leaves the
sum open. What surely counts can prove a breach; only what may count at most can prove a pass.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.dose import dose, in_unit, ingredient_used
from ledger.checks.periods import BEGINS, counts_at_all, doubtful_start, window_of, window_words
from ledger.checks.rates import denominators
from ledger.checks.same import both, counts_with, same_place, summed
from ledger.checks.say import Tools, finding, over, per_words, said
from ledger.checks.tank import case_of
from ledger.checks.windows import doubtful
from ledger.rulebook.model import Limit
from ledger.values.amount import Basis, Quantity
from ledger.values.finding import Finding, Kind

_BASIS_WORDS = {Basis.PRODUCT: "", Basis.MIX: " of mix", Basis.INGREDIENT: " of active ingredient"}


def check_total(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge what was put down in a window, this line included, against a maximum."""
    doubt = doubtful(case, limit, tools)
    if doubt is not None:
        yield doubt
        return
    if limit.most is None or not counts_at_all(limit, case.use):
        return
    units, lacking = Fraction(1), ""
    if limit.per is not None:
        found, lacking = denominators(case, limit, tools)
        units = found or Fraction(0)
    if not units:
        text = f"cannot tell the total{_per(limit)}: {lacking} is not given"
        yield finding(
            limit, tools, Kind.UNKNOWN, text, "extent", f"amend the extent with {lacking}"
        )
        return
    certain, whole = _sum(case, limit, tools)
    total = Quantity(certain / units, limit.most.unit)
    text = (
        f"{said(total)}{_BASIS_WORDS[limit.basis]}{_per(limit)} {window_words(limit, case.use)}"
        f"{_across(case, limit)}, {tools.authority} allows {said(limit.most)}"
    )
    if over(total.value, limit.most.value, limit.inclusive):
        if not doubtful_start(case, limit, window_of(case, limit)):
            yield finding(limit, tools, Kind.BREACH, text, "amount")
            return
        way_out = f'amend prepared of the line that began it with "{BEGINS[limit.within]}"'
        text = f"cannot tell since when to count: {text}"
        yield finding(limit, tools, Kind.UNKNOWN, text, "prepared", way_out)
    elif not whole:
        text = f"cannot tell the whole: at least {text}, and a line does not say enough"
        way_out = "amend amounts and places of the lines at this site, or mend their label files"
        yield finding(limit, tools, Kind.UNKNOWN, text, "amount", way_out)


def _sum(case: Case, limit: Limit, tools: Tools) -> tuple[Fraction, bool]:
    """Return what surely counts, in the unit of the bound, and whether that is all."""
    assert limit.most is not None
    total, whole = Fraction(0), True
    for other in window_of(case, limit):
        counts = both(counts_with(case, other, limit, tools), same_place(case.use, other, limit))
        if counts is False:
            continue
        value = _value(case_of(case, other, tools), case, limit, tools) if counts else None
        whole = whole and value is not None
        total += value or 0
    own = _value(case, case, limit, tools)
    return total + (own or 0), whole and own is not None


def _value(line: Case, case: Case, limit: Limit, tools: Tools) -> Fraction | None:
    """Return what one line adds; None where it cannot be told."""
    assert limit.most is not None
    if limit.basis is Basis.INGREDIENT:
        amount = ingredient_used(line, tools, summed(case, limit))
    else:
        amount = dose(line, limit.basis, tools)
    return None if amount is None else in_unit(amount, limit.most.unit, line.product, tools)


def _per(limit: Limit) -> str:
    return "" if limit.per is None else f" per {per_words(limit.per, limit.per_what)}"


def _across(case: Case, limit: Limit) -> str:
    if limit.across != "ingredient":
        return ""
    return f" in all products with {', '.join(sorted(summed(case, limit)))}"
