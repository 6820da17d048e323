"""The arithmetic of the trade, in plain functions that anybody may use.

Every function takes and returns exact numbers: int, Fraction or Decimal in, Fraction out; a float
raises TypeError, since it is not the number that was written. Nothing is rounded except where a
function says so. Units stand in each docstring; where it says "unit of ..." any unit will do, as
long as like is given in like. Per cents are numbers as written (0.06 for 0.06 %), shares are
parts of one (0.001 for 0.1 %).

Dividing by nothing raises ZeroDivisionError, as everywhere.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import isqrt

from ledger.units import Units
from ledger.values.amount import Dilution, Quantity, Strength
from ledger.values.product import Product
from ledger.values.rounding import half_even

Number = int | Fraction | Decimal

GRAMS_PER_POUND = Fraction(45359237, 100_000)
"""By definition (NIST SP 811, appendix B.8)."""

ML_PER_GALLON = Fraction(473176473, 125_000)
"""231 cubic inches of 25.4 mm (NIST Handbook 44, appendix C)."""

SQ_FT_PER_ACRE = Fraction(43_560)
"""Of the international foot; the survey foot is retired (85 FR 62698)."""

WATER_POUNDS_PER_GALLON = ML_PER_GALLON / GRAMS_PER_POUND
"""8.3454...: water at its densest, 1 g/mL, which is what specific gravity is told against."""

STATE_POUNDS_PER_GALLON = Fraction(833, 100)
"""What California's published pounds rest on; worked out from them, not stated in a text."""

PI = Fraction(31415926535897932384626433832795028841971693993751, 10**49)
"""Pi to 49 decimals, which is exact enough for any tape measure."""


def exact(number: Number) -> Fraction:
    """Return a number as a fraction. Raises TypeError for a float or a truth value."""
    if isinstance(number, bool) or not isinstance(number, (int, Fraction, Decimal)):
        raise TypeError(f"{number!r} is not an exact number")
    return Fraction(number)


# --- mixing ------------------------------------------------------------------------------------


def concentrate_for_mix(mix: Number, target: Number, concentrate: Number) -> Fraction:
    """Return how much concentrate makes ``mix``, in the unit of ``mix``.

    ``target`` and ``concentrate`` are per cents on one basis (both by volume or both by weight).
    """
    return exact(mix) * exact(target) / exact(concentrate)


def water_for_mix(mix: Number, product: Number) -> Fraction:
    """Return the water in a finished mix (same unit); it is made up to ``mix``, not with it."""
    return exact(mix) - exact(product)


def parts_of_water(concentrate: Number, target: Number) -> Fraction:
    """Return the parts of water for one part of concentrate: 19 for 50 % down to 2.5 %."""
    return exact(concentrate) / exact(target) - 1


def strength_after(concentrate: Number, parts: Number, water: Number) -> Fraction:
    """Return the strength of ``parts`` of a concentrate with ``water`` parts of water."""
    return exact(concentrate) * exact(parts) / (exact(parts) + exact(water))


def share_in(parts: Number, whole: Number) -> Fraction:
    """Return the share of product in a mix of "``parts`` in ``whole``": 1/100 for 1 in 100."""
    return exact(parts) / exact(whole)


def share_with(parts: Number, water: Number) -> Fraction:
    """Return the share of product in a mix of "``parts`` + ``water``": 1/101 for 1 + 100."""
    return exact(parts) / (exact(parts) + exact(water))


def at_rate(amount: Number, rate: Number, per: Number = 1) -> Fraction:
    """Return ``rate`` for each ``per``, taken for ``amount`` (unit of ``per``).

    Product in a mix (2 pt per 100 gal), mix on an area (1 gal per 1,000 sq ft), product on a
    length or in voids: one and the same.
    """
    return exact(amount) * exact(rate) / exact(per)


def coverage(amount: Number, rate: Number, per: Number = 1) -> Fraction:
    """Return what ``amount`` treats at ``rate`` for each ``per``, in the unit of ``per``."""
    return exact(amount) * exact(per) / exact(rate)


def product_for_load(load: Number, output: Number, rate: Number) -> Fraction:
    """Return the product for one load, in the unit of ``rate``.

    ``load`` is mix in the tank, ``output`` mix and ``rate`` product on the same area.
    """
    return coverage(load, output) * exact(rate)


def volume_for_ingredient(
    mix: Number, per_cent: Number, share: Number, specific_gravity: Number
) -> Fraction:
    """Return the volume of a liquid product in ``mix`` (same unit) at a per cent of ingredient.

    The per cent is by weight, and the mix is taken at the density of water: 0.06 % in a gallon
    (128 fl oz) of a product of share 0.065 and specific gravity 1.021 is 1.1572... fl oz.
    """
    share_of_mix = exact(per_cent) / 100
    return exact(mix) * share_of_mix / (exact(share) * exact(specific_gravity))


def weight_for_ingredient(mix: Number, per_cent: Number, share: Number) -> Fraction:
    """Return the weight of product in a weight of mix (same unit) at a per cent by weight."""
    return exact(mix) * exact(per_cent) / 100 / exact(share)


def per_cent_in_mix(
    product: Number, mix: Number, share: Number, specific_gravity: Number = 1
) -> Fraction:
    """Return the per cent of ingredient by weight of ``product`` in ``mix``, both volumes.

    The mix is taken at the density of water. Two weights need no gravity (leave it 1).
    """
    return exact(product) * exact(specific_gravity) * exact(share) / exact(mix) * 100


# --- active ingredient -------------------------------------------------------------------------


def ingredient_in(product: Number, share: Number) -> Fraction:
    """Return the weight of ingredient in a weight of product, in the unit of the product."""
    return exact(product) * exact(share)


def product_with(ingredient: Number, share: Number) -> Fraction:
    """Return the weight of product that holds a weight of ingredient (same unit)."""
    return exact(ingredient) / exact(share)


def gallons_with(ingredient: Number, pounds_per_gallon: Number) -> Fraction:
    """Return the gallons of a liquid that hold ``ingredient`` pounds."""
    return exact(ingredient) / exact(pounds_per_gallon)


def ingredient_per_gallon(share: Number, specific_gravity: Number) -> Fraction:
    """Return the pounds of ingredient in a gallon of a liquid product."""
    return pounds_of_volume(1, specific_gravity) * exact(share)


def same_ingredient(rate: Number, strength: Number, other: Number) -> Fraction:
    """Return the rate of a product of strength ``other`` with the ingredient of ``rate``."""
    return exact(rate) * exact(strength) / exact(other)


def grams_for_ppm(ppm: Number, millilitres: Number) -> Fraction:
    """Return the grams that make so many parts per million by weight of that much water."""
    return exact(ppm) * exact(millilitres) / 1_000_000


def ppm_of(grams: Number, millilitres: Number) -> Fraction:
    """Return the parts per million by weight of ``grams`` in that much water."""
    return exact(grams) * 1_000_000 / exact(millilitres)


# --- areas, lengths, spaces --------------------------------------------------------------------


def per_1000_sq_ft(per_acre: Number) -> Fraction:
    """Return a rate per acre as a rate per 1,000 sq ft, in its own unit."""
    return exact(per_acre) * 1000 / SQ_FT_PER_ACRE


def per_acre(per_1000: Number) -> Fraction:
    """Return a rate per 1,000 sq ft as a rate per acre, in its own unit."""
    return exact(per_1000) * SQ_FT_PER_ACRE / 1000


def rectangle(length: Number, width: Number) -> Fraction:
    """Return the area of a rectangle or a band, in the square of its unit."""
    return exact(length) * exact(width)


def perimeter(*walls: Number) -> Fraction:
    """Return the length around a house: the sum of its outside walls, never a root of its floor."""
    return sum(map(exact, walls), Fraction(0))


def block(length: Number, width: Number, height: Number) -> Fraction:
    """Return the space of a void or a room, in the cube of its unit."""
    return exact(length) * exact(width) * exact(height)


def walls_and_ceiling(length: Number, width: Number, height: Number) -> Fraction:
    """Return the four sides and the top of a room or a box, in the square of its unit."""
    return 2 * exact(height) * (exact(length) + exact(width)) + rectangle(length, width)


def circle(diameter: Number) -> Fraction:
    """Return the area of a circle, in the square of its unit."""
    return PI * exact(diameter) ** 2 / 4


def diameter_around(circumference: Number) -> Fraction:
    """Return the diameter of a circle of that circumference."""
    return exact(circumference) / PI


def diameter_within(area: Number, places: int = 9) -> Fraction:
    """Return the diameter of a circle of that area, cut off after so many decimal places."""
    square = exact(area) * 4 / PI * 100**places
    return Fraction(isqrt(square.numerator // square.denominator), 10**places)


def cylinder(radius: Number, height: Number) -> Fraction:
    """Return the space of an upright cylinder, in the cube of its unit."""
    return circle(2 * exact(radius)) * exact(height)


def band_on_field(rate: Number, band: Number, row: Number) -> Fraction:
    """Return what a rate per treated area is per whole area, for bands of ``band`` in ``row``."""
    return exact(rate) * exact(band) / exact(row)


# --- calibration -------------------------------------------------------------------------------


def gallons_per_acre(collected: Number, plot: Number) -> Fraction:
    """Return the output from ``collected`` fl oz caught for a plot of that many sq ft."""
    return exact(collected) / 128 * SQ_FT_PER_ACRE / exact(plot)


def boom_output(flow: Number, width: Number, speed: Number) -> Fraction:
    """Return gallons per acre from a flow in fl oz/min, a width in inches, a speed in mph."""
    gallons_an_hour = exact(flow) / 128 * 60
    sq_ft_an_hour = exact(speed) * 5280 * exact(width) / 12
    return gallons_an_hour * SQ_FT_PER_ACRE / sq_ft_an_hour


def weighed_out(before: Number, after: Number) -> Fraction:
    """Return what left a container that was weighed before and after (same unit)."""
    return exact(before) - exact(after)


def by_calibration(count: Number, gives: Number, per: Number = 1) -> Fraction:
    """Return the estimate for ``count`` puffs or placements when ``per`` of them give ``gives``."""
    return at_rate(count, gives, per)


# --- weight of a volume ------------------------------------------------------------------------


def pounds_of_volume(gallons: Number, specific_gravity: Number) -> Fraction:
    """Return the pounds of so many gallons, water being 1 g/mL."""
    return exact(gallons) * WATER_POUNDS_PER_GALLON * exact(specific_gravity)


def state_pounds(gallons: Number, specific_gravity: Number) -> Fraction:
    """Return the pounds of a liquid product as California's published figures count them.

    Gallons times 8.33 times specific gravity, rounded to four decimals, half to even. No text
    says which way a tie goes and no published row decides it. The constant and the rounding were
    worked out from published rows. A product that was weighed is counted by its exact pounds.
    """
    pounds = exact(gallons) * STATE_POUNDS_PER_GALLON * exact(specific_gravity)
    return Fraction(half_even(pounds, 4))


def state_ingredient_pounds(product_pounds: Number, per_cent: Number) -> Fraction:
    """Return pounds of ingredient as California counts them: of the *rounded* pounds, unrounded."""
    return exact(product_pounds) * exact(per_cent) / 100


# --- undiluted product behind a mix ------------------------------------------------------------


def active_share(product: Product) -> Fraction:
    """Return the share by weight of all active ingredients together, synergists left out."""
    return sum((part.share for part in product.ingredients if not part.synergist), Fraction(0))


def undiluted(
    mix: Quantity, dilution: Dilution, product: Product | None, units: Units
) -> Quantity | None:
    """Return the undiluted product in ``mix``, unrounded, or None where that cannot be told.

    A liquid product is told in fl oz (in the unit of the rate, if that weighs it), a dry one in
    the unit of the rate or in oz. A mix without a rate is taken at the density of water, 1 g/mL.
    """
    match dilution.strength:
        case Strength.NONE:
            return mix
        case Strength.RATE:
            return _by_rate(mix, dilution, product, units)
        case Strength.INGREDIENT_PER_CENT:
            return _by_ingredient(mix, dilution, product, units)
        case _:
            return _by_share(mix, dilution, product, units)


def _by_rate(
    mix: Quantity, dilution: Dilution, product: Product | None, units: Units
) -> Quantity | None:
    rate, per = dilution.product, dilution.mix
    if rate is None or per is None or not per.value or not units.comparable(mix.unit, per.unit):
        return None
    found = Quantity(at_rate(units.convert(mix, per.unit).value, rate.value, per.value), rate.unit)
    liquid = product is None or not product.weighed
    return units.convert(found, "fl oz") if liquid and _poured(found, units) else found


def _by_ingredient(
    mix: Quantity, dilution: Dilution, product: Product | None, units: Units
) -> Quantity | None:
    if product is None or dilution.value is None or not active_share(product):
        return None
    share = active_share(product)
    if product.weighed:
        grams = weight_for_ingredient(_grams(mix, units), dilution.value, share)
        return units.convert(Quantity(grams, "g"), "oz")
    if not product.specific_gravity:
        return None
    millilitres = volume_for_ingredient(
        _grams(mix, units), dilution.value, share, product.specific_gravity
    )
    return units.convert(Quantity(millilitres, "mL"), "fl oz")


def _by_share(
    mix: Quantity, dilution: Dilution, product: Product | None, units: Units
) -> Quantity | None:
    if product is None or dilution.value is None:
        return None
    if dilution.strength is Strength.RATIO and product.weighed and _poured(mix, units):
        return None  # parts by weight, by spoon or by scoop: nobody can tell
    share = dilution.value if dilution.strength is Strength.RATIO else dilution.value / 100
    found = _grams(mix, units) * share
    if product.weighed:
        return units.convert(Quantity(found, "g"), "oz")
    return units.convert(Quantity(found, "mL"), "fl oz")


def _poured(quantity: Quantity, units: Units) -> bool:
    return units.dimension(quantity.unit) == "volume"


def _grams(mix: Quantity, units: Units) -> Fraction:
    """Return the weight of a mix in grams, which is its volume in mL: it counts as water."""
    return units.convert(mix, "mL" if _poured(mix, units) else "g").value
