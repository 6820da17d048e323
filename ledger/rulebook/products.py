"""The product of a label file: registration, ingredients and what a bare ounce of it means."""

from __future__ import annotations

import re
from fractions import Fraction

from ledger.rulebook.grammar import LABEL_FLAGS, USED
from ledger.rulebook.part import Part
from ledger.values.amount import Quantity
from ledger.values.product import Formulation, Ingredient, Product, ProductClass

REGISTRATION = re.compile(
    r"[1-9]\d{0,5}-[1-9]\d{0,4}(-[1-9]\d{0,5})?(-[A-Z]{2})?"  # 40 CFR 156.10(e), 152.132(d)(3)
    r"|[1-9]\d{0,5}-EUP-[1-9]\d{0,3}"  # an experimental use permit
    r"|[A-Z]{2}-?\d{2}-?\d{4}"  # special local need: state, year, sequence (from memory)
)
_CAS = re.compile(r"\d{2,7}-\d{2}-\d")
SIGNAL_WORDS = ("CAUTION", "WARNING", "DANGER")


def read_product(root: Part) -> tuple[Product | None, str]:
    """Return the product of a label and how long it lasts, with the standing of who says so.

    The product is None where the file has no table for it.
    """
    part = root.part("product")
    if part is None:
        return None, ""
    return _product(root, part), _lasts(part)


def _lasts(part: Part) -> str:
    text = part.text("lasts")
    if bool(text) != part.has("lasts_source"):
        way_out = "write both, or neither"
        part.fault("", "RULE-SOURCE-MISSING", "lasts and lasts_source go together", way_out)
    source = part.source("lasts_source")
    return f"{text} ({source.read.value})" if source and text else text


def _product(root: Part, part: Part) -> Product:
    formulation = part.phrase("formulation", tuple(Formulation))
    product_class = part.phrase("class", tuple(ProductClass))
    if part.has("source"):
        part.source()
    registration = _registration(part, product_class)
    gravity = part.number("specific_gravity")
    if gravity is not None and not 0 < gravity < 25:
        part.fault("specific_gravity", "RULE-NUMBER", "no product is that heavy", "correct it")
    ingredients = _ingredients(root)
    if part.has("specific_gravity") and part.has("ai_per_gallon"):
        what = "specific_gravity follows from ai_per_gallon"
        part.fault("ai_per_gallon", "RULE-TWICE", what, "keep the one that the label states")
    gravity = _gravity_of(part, ingredients) if gravity is None else gravity
    return Product(
        id=str(root.table.get("id", "")),
        name=part.text("name"),
        registration=registration,
        formulation=Formulation(formulation or Formulation.DUST),
        product_class=ProductClass(product_class or ProductClass.GENERAL),
        diluted=part.phrase("used", USED) == "diluted",
        ingredients=ingredients,
        specific_gravity=gravity,
        signal_word=part.phrase("signal_word", SIGNAL_WORDS),
        version=root.text("version"),
        lots=part.texts("lots") if part.has("lots") else (),
        in_force=root.span(),
        digest=root.page.digest,
        file=root.page.path,
        flags=tuple((key, part.flag(key, default=False)) for key in LABEL_FLAGS if part.has(key)),
    )


def _gravity_of(part: Part, ingredients: tuple[Ingredient, ...]) -> Fraction | None:
    """Return the specific gravity that follows from the weight of active ingredient in a gallon.

    Grams of active ingredient in a millilitre, divided by its share by weight, are the grams that
    a millilitre weighs. Synergists are no active ingredient.
    """
    weight = part.quantity("ai_per_gallon", "mass")
    share = sum((item.share for item in ingredients if not item.synergist), Fraction(0))
    if weight is None or not share:
        return None
    units = part.page.units
    gallon = units.convert(Quantity(Fraction(1), "gal"), "mL").value
    gravity = units.convert(weight, "g").value / gallon / share
    if not 0 < gravity < 25:
        what = "with these per cents the product would weigh more than any does"
        part.fault("ai_per_gallon", "RULE-NUMBER", what, "correct it, or the per cents")
        return None
    return gravity


def _registration(part: Part, product_class: str) -> str | None:
    """Return the registration number; a minimum-risk product names its exemption instead."""
    number, exemption = part.text("registration"), part.text("exemption")
    minimum = product_class == ProductClass.MINIMUM_RISK
    if number and exemption:
        what = "a registration and an exemption from it"
        part.fault("exemption", "RULE-TWICE", what, "keep the one that the label states")
    elif not number and not exemption and not part.has("registration"):
        way_out = 'add registration = "...", or exemption = "40 CFR 152.25(f)"'
        part.fault("", "RULE-MISSING-KEY", "neither registration nor exemption", way_out)
    elif product_class and minimum != bool(exemption):
        what = "only a minimum risk product is exempt from registration"
        key = "exemption" if exemption else "class"
        part.fault(key, "RULE-REGISTRATION", what, "correct the class or the number")
    if number and not REGISTRATION.fullmatch(number):
        what = f'"{number}" is not a registration number'
        part.fault("registration", "RULE-REGISTRATION", what, 'write it as "12345-67"')
    return number or None


def _ingredients(root: Part) -> tuple[Ingredient, ...]:
    """Return the active ingredients; together they cannot be more than the whole product."""
    found: list[Ingredient] = []
    for part in root.parts("ingredient"):
        name = part.known("name", part.text("name"), "ingredient")
        per_cent = part.number("per_cent")
        if per_cent is not None and not 0 < per_cent <= 100:
            part.fault("per_cent", "RULE-SHARE", f"{per_cent} per cent", "write 0.1 for 0.1 %")
            per_cent = None
        if name and name in (other.name for other in found):
            part.fault("name", "RULE-DUPLICATE", f'"{name}" stands twice', "list it once")
        cas = part.text("cas")
        if cas and not cas_holds(cas):
            what = f'"{cas}" fails its check digit'
            part.fault("cas", "RULE-CAS", what, "copy the CAS number again")
        found.append(
            Ingredient(
                name,
                (per_cent or Fraction(0)) / 100,
                cas or None,
                part.text("group") or None,
                part.flag("synergist", default=False),
            )
        )
        if per_cent is not None and sum(other.share for other in found) > 1:
            what = "the ingredients add up to more than 100 per cent"
            part.fault("per_cent", "RULE-SHARE", what, "correct the shares by weight")
    return tuple(found)


def cas_holds(text: str) -> bool:
    """Say whether a CAS number is well formed and its check digit right.

    The last digit is the sum of the others, each times its place counted from the right, modulo
    ten (Chemical Abstracts Service, "Check Digit Verification of CAS Registry Numbers").
    """
    if not _CAS.fullmatch(text) or not text.isascii():
        return False
    digits = [int(digit) for digit in text if digit != "-"]
    total = sum(place * digit for place, digit in enumerate(reversed(digits[:-1]), start=1))
    return total % 10 == digits[-1]
