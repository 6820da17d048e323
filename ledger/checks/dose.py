"""What was put down, exactly: product, mix and active ingredient of one line.

Derived amounts are rounded for keeping; a limit is compared with the unrounded value, so they
are worked out again here from the amount and the dilution as written.
"""

from __future__ import annotations

from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.say import Tools
from ledger.rulebook.model import Limit
from ledger.values.amount import Basis, Dilution, Quantity, Strength
from ledger.values.lexicon import fold
from ledger.values.product import Product

_ONE = Fraction(1)


def ingredient_share(product: Product, names: frozenset[str] | None = None) -> Fraction:
    """Return the share by weight of all active ingredients, or of those whose folded names are
    given; synergists left out."""
    return sum(
        (
            part.share
            for part in product.ingredients
            if not part.synergist and (names is None or fold(part.name) in names)
        ),
        Fraction(0),
    )


def strength(case: Case, tools: Tools) -> Quantity | None:
    """Return how much product stands in one millilitre of mix, in mL (liquids) or g (powders).

    A product used as it comes has the strength one. A per cent of active ingredient is by
    weight; the mix weighs one gram a millilitre. None where the line or the label does not say.
    """
    product, dilution = case.product, case.use.dilution
    if product is None:
        return None
    unit = "g" if product.weighed else "mL"
    if dilution is None:
        return None if product.diluted or product.weighed else Quantity(_ONE, unit)
    value = _per_millilitre(dilution, product, tools)
    return None if value is None else Quantity(value, unit)


def _per_millilitre(dilution: Dilution, product: Product, tools: Tools) -> Fraction | None:
    match dilution.strength:
        case Strength.RATE:
            return _rate(dilution, product, tools)
        case Strength.INGREDIENT_PER_CENT:
            share, gravity = ingredient_share(product), _gravity(product)
            if dilution.value is None or gravity is None or not share:
                return None
            return dilution.value / 100 / (share * gravity)
        case Strength.PRODUCT_PER_CENT:
            return None if dilution.value is None else dilution.value / 100
        case Strength.RATIO:
            return dilution.value
        case Strength.NONE:
            return None if product.weighed else _ONE


def _rate(dilution: Dilution, product: Product, tools: Tools) -> Fraction | None:
    if dilution.product is None or dilution.mix is None:
        return None
    mix = tools.into(dilution.mix, "mL")
    amount = in_unit(dilution.product, "g" if product.weighed else "mL", product, tools)
    return None if not mix or amount is None else amount / mix


def _gravity(product: Product) -> Fraction | None:
    """Return the weight of a millilitre of product in grams; powders are counted in grams."""
    return _ONE if product.weighed else product.specific_gravity


def in_unit(
    quantity: Quantity, unit: str, product: Product | None, tools: Tools
) -> Fraction | None:
    """Return the value in ``unit``; mass and volume convert by the label's specific gravity."""
    direct = tools.into(quantity, unit)
    if direct is not None or product is None or product.specific_gravity is None:
        return direct
    grams = tools.into(quantity, "g")
    if grams is not None:
        volume = Quantity(grams / product.specific_gravity, "mL")
        return tools.into(volume, unit)
    millilitres = tools.into(quantity, "mL")
    if millilitres is None:
        return None
    return tools.into(Quantity(millilitres * product.specific_gravity, "g"), unit)


def product_used(case: Case, tools: Tools) -> Quantity | None:
    """Return the undiluted product used, unrounded."""
    use = case.use
    if not use.used.derived or use.amount.basis is not Basis.MIX:
        return use.used.quantity
    strong = strength(case, tools)
    mix = tools.into(use.amount.quantity, "mL")
    return None if strong is None or mix is None else Quantity(mix * strong.value, strong.unit)


def mix_used(case: Case, tools: Tools) -> Quantity | None:
    """Return the finished mix used, as written or from the product and the dilution."""
    if case.use.amount.basis is Basis.MIX:
        return case.use.amount.quantity
    strong = strength(case, tools)
    if strong is None or not strong.value:
        return None
    amount = in_unit(case.use.used.quantity, strong.unit, case.product, tools)
    return None if amount is None else Quantity(amount / strong.value, "mL")


def ingredient_used(
    case: Case, tools: Tools, names: frozenset[str] | None = None
) -> Quantity | None:
    """Return the weight of active ingredient used, in grams: of all, or of those named."""
    product, used = case.product, product_used(case, tools)
    if product is None or used is None:
        return None
    grams = in_unit(used, "g", product, tools)
    share = ingredient_share(product, names)
    return None if grams is None else Quantity(grams * share, "g")


def dose(case: Case, basis: Basis, tools: Tools) -> Quantity | None:
    """Return what was put down on that basis, or None where the line cannot tell."""
    if basis is Basis.MIX:
        return mix_used(case, tools)
    return product_used(case, tools) if basis is Basis.PRODUCT else ingredient_used(case, tools)


def strength_as(case: Case, limit: Limit, unit: str, tools: Tools) -> Fraction | None:
    """Return the line's strength as a limit says it: ``unit`` per ``limit.per``, or a share."""
    product, strong = case.product, strength(case, tools)
    if limit.per is None:
        share = share_in_mix(case, limit.basis, tools)
        return None if share is None else tools.into(Quantity(share, "%"), unit)
    volume = tools.into(limit.per, "mL")
    if strong is None or volume is None:
        return None
    return in_unit(Quantity(strong.value * volume, strong.unit), unit, product, tools)


def share_in_mix(
    case: Case, basis: Basis, tools: Tools, names: frozenset[str] | None = None
) -> Fraction | None:
    """Return per cent of product or of active ingredient (all, or those named) in the mix."""
    product, dilution, strong = case.product, case.use.dilution, strength(case, tools)
    if product is None:
        return None
    if basis is not Basis.INGREDIENT:
        return None if strong is None else strong.value * 100
    whole, share = ingredient_share(product), ingredient_share(product, names)
    if dilution is not None and dilution.strength is Strength.INGREDIENT_PER_CENT:
        if dilution.value is None or not whole:
            return dilution.value
        return dilution.value * share / whole
    undiluted = dilution is None or dilution.strength is Strength.NONE
    if undiluted and not product.diluted:
        return share * 100
    gravity = _gravity(product)
    if strong is None or gravity is None:
        return None
    return strong.value * gravity * share * 100
