"""The one rounding: on output, half to even, from an exact fraction."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction


def _scaled(value: Fraction, places: int) -> int:
    """Return ``value`` in units of the last place, rounded half to even."""
    whole, rest = divmod(value.numerator * 10**places, value.denominator)
    twice = 2 * rest
    up = bool(twice > value.denominator or (twice == value.denominator and whole % 2))
    return int(whole + up)


def half_even(value: Fraction, places: int) -> Decimal:
    """Return ``value`` rounded half to even to that many decimal places, with all of them shown.

    Exact for any size: integers do the work, no context precision is involved.
    """
    scaled = _scaled(value, places)
    return Decimal((int(scaled < 0), tuple(int(digit) for digit in str(abs(scaled))), -places))


def shows(value: Fraction, places: int) -> bool:
    """Say whether anything of a value is left when it is rounded to that many places."""
    return _scaled(value, places) != 0


def fixed(value: Fraction, places: int) -> str:
    """Return the same as plain text, never with an exponent: ``0.05625``."""
    scaled = _scaled(value, places)
    if not places:
        return str(scaled)
    digits = f"{abs(scaled):0{places + 1}}"
    return f"{'-' if scaled < 0 else ''}{digits[:-places]}.{digits[-places:]}"


def exact_text(value: Fraction) -> str:
    """Return the exact value as text: a plain decimal where one ends, else ``3/7``."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return f"{value.numerator}/{value.denominator}"
    return fixed(value, max(twos, fives))
