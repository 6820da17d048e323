"""What counts as the same again: the same product or ingredient, the same place."""

from __future__ import annotations

from ledger.checks.case import Case
from ledger.checks.say import Tools
from ledger.rulebook.model import Limit
from ledger.values.entry import Application
from ledger.values.lexicon import fold
from ledger.values.product import Product


def same_product(case: Case, other: Application) -> bool:
    """Say whether another application put down the same product, whatever its label version."""
    use = case.use
    return other.product_key == use.product_key or bool(use.product == other.product != "")


def actives(product: Product | None) -> frozenset[str]:
    """Return the folded names of the active ingredients, synergists left out."""
    if product is None:
        return frozenset()
    return frozenset(fold(part.name) for part in product.ingredients if not part.synergist)


def summed(case: Case, limit: Limit) -> frozenset[str]:
    """Return the ingredients that a limit sums: those it names, else those of the product."""
    return frozenset(map(fold, limit.words)) or actives(case.product)


def counts_with(case: Case, other: Application, limit: Limit, tools: Tools) -> bool | None:
    """Say whether another application counts together with this one; None if it cannot be told.

    Across products the two share an active ingredient; what a label that cannot be read holds
    is not known.
    """
    if same_product(case, other):
        return True
    if limit.across != "ingredient":
        return False
    product = tools.product_of(other)
    if product is None or case.product is None:
        return None
    return bool(summed(case, limit) & actives(product))


def same_place(use: Application, other: Application, limit: Limit) -> bool | None:
    """Say whether two lines share a place of one setting; None where one of them names none."""
    if limit.same != "place":
        return True
    said = use.setting and other.setting
    if said and fold(use.setting) != fold(other.setting):
        return False
    if not said or not use.places or not other.places:
        return None
    return bool({fold(p) for p in use.places} & {fold(p) for p in other.places})


def both(one: bool | None, two: bool | None) -> bool | None:
    """Return the three-valued "and"."""
    if one is False or two is False:
        return False
    return True if one and two else None
