"""State an amount as a form wants it: in a unit that the form takes, and in pounds."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from ledger.rulebook.form_model import Form
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.product import Product
from ledger.values.rounding import half_even


def dimension_of(unit: str, units: Units) -> str:
    """Return what a unit measures; one that the list no longer has stands for itself."""
    return units.dimension(unit) if units.comparable(unit, unit) else unit


def sum_of(amounts: Iterable[Quantity], units: Units) -> Quantity:
    """Add amounts of one dimension exactly, in the unit of the first; ValueError for none."""
    listed = list(amounts)
    if not listed:
        raise ValueError("there is no amount to add")
    unit = listed[0].unit
    if len(listed) == 1:
        return listed[0]
    return Quantity(sum((units.convert(item, unit).value for item in listed), Fraction()), unit)


def stated(total: Quantity, pounds: Fraction | None, form: Form, units: Units) -> Quantity:
    """State a total in a unit of the form: the usual one, or a smaller one that reads better.

    The usual unit is the first; where the total is less than 1 of it, the largest smaller unit
    of which there is at least 1, else the smallest. A dimension that the form has no unit for is
    stated in pounds where the weight is known and the form takes pounds, else as it stands. A
    column in one fixed unit leaves no choice.
    """
    fixed = [c.unit for c in form.columns if c.value == "total_used" and c.unit]
    for unit in fixed:
        if units.comparable(unit, total.unit):
            return units.convert(total, unit)
    for _, allowed in form.units:
        fitting = [unit for unit in allowed if units.comparable(unit, total.unit)]
        if fitting:
            usual = units.convert(total, fitting[0])
            if usual.value >= 1:
                return usual
            offered = [usual, *(units.convert(total, unit) for unit in fitting[1:])]
            smaller = sorted((q for q in offered if q.value >= usual.value), key=lambda q: q.value)
            return next((q for q in smaller if q.value >= 1), smaller[-1])
    if pounds is not None and any("lb" in allowed for _, allowed in form.units):
        return Quantity(pounds, "lb")
    return total


def pounds_of(
    amount: Quantity, product: Product | None, form: Form, units: Units
) -> Fraction | None:
    """Return the weight of an amount of product in pounds by the form's own arithmetic.

    A weight is taken as it is, exactly. A volume is gallons, times the form's pounds per gallon,
    times the product's specific gravity, rounded half-even to the form's places. None where the
    amount is neither, or where gravity or the form's arithmetic is missing.
    """
    if units.comparable(amount.unit, "lb"):
        return units.convert(amount, "lb").value
    gravity = product.specific_gravity if product else None
    if gravity is None or form.pounds_per_gallon is None:
        return None
    if not units.comparable(amount.unit, "gal"):
        return None
    pounds = units.convert(amount, "gal").value * form.pounds_per_gallon * gravity
    return pounds if form.round_pounds is None else Fraction(half_even(pounds, form.round_pounds))
