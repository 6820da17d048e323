"""Amounts by counting: puffs, dabs and seconds times what one of them weighs.

``12 placements``, ``30 puffs`` and ``8 seconds`` are no amounts. They become an estimate only where
the tool on the line was weighed with this product, on or before the day of the work; the newest
such weighing counts. A weighing of the container itself is always better.
"""

from __future__ import annotations

import re
from datetime import date

from ledger.numbers import keeps, read_number
from ledger.values.amount import Amount, Basis, Quantity, Used
from ledger.values.finding import Fault
from ledger.values.firm import Calibration, Firm
from ledger.values.lexicon import fold
from ledger.values.origin import Origin
from ledger.values.product import Product
from ledger.values.reading import Reading
from ledger.values.rounding import exact_text

_COUNT = re.compile(r"(?P<number>[0-9][0-9,]*)\s*(?P<word>[A-Za-z]+)\.?")
_PER = {
    "puff": ("puff",), "stroke": ("stroke",), "dab": ("dab", "placement"),
    "placement": ("placement", "dab"), "second": ("second",), "sec": ("second",), "s": ("second",),
    "can": ("can",),
}  # fmt: skip
"""What a counted word can be weighed by: a placement of gel is a dab, and a dab a placement."""


def counted(text: str) -> tuple[str, tuple[str, ...]] | None:
    """Return the number and what it counts, where a text counts what can be weighed."""
    parts = _COUNT.fullmatch(" ".join(text.split()))
    if parts is None:
        return None
    word = fold(parts["word"])
    per = _PER.get(word) or _PER.get(word.removesuffix("s"))
    return None if per is None else (parts["number"], per)


def weighing_of(
    firm: Firm, equipment: str, product: str, per: tuple[str, ...], day: date
) -> Calibration | None:
    """Return the newest weighing of a tool with a product that is not later than the day."""
    tool = next((tool for tool in firm.tools if fold(tool.key) == fold(equipment)), None)
    if tool is None:
        return None
    found = [
        item
        for item in tool.calibrations
        if item.product == product and item.per in per and item.on <= day
    ]
    return max(found, key=lambda item: (item.on, item.per == per[0])) if found else None


def read_counted(
    text: str, product: Product, weighing: Calibration, origin: Origin
) -> Reading[tuple[Amount, Used]]:
    """Return a counted amount and the estimate of what was used.

    The amount keeps the count as written (unit ``each``), so that a new weighing of the tool does
    not make another line of it. Faults: AMOUNT-ZERO, AMOUNT-TOO-LARGE, and those of a number.
    """
    found = counted(text)
    assert found is not None  # the caller asked first
    number = read_number(found[0], origin)
    if number.value is None:
        return Reading(None, number.faults)
    total = number.value * weighing.gives.value
    if not total or not keeps(total):
        code = "AMOUNT-TOO-LARGE" if total else "AMOUNT-ZERO"
        what = f'"{text}" is {"more than can be kept exactly" if total else "nothing put down"}'
        return Reading(None, (Fault(code, origin, what, "check the number"),))
    amount = Amount(" ".join(text.split()), Quantity(number.value, "each"), Basis.PRODUCT)
    used = Used(total.numerator, total.denominator, weighing.gives.unit, estimate=True)
    each = f"{exact_text(weighing.gives.value)} {weighing.gives.unit}"
    remark = (
        f'"{amount.text}" of {product.name} is an estimate: the {weighing.per} weighed {each} on'
        f" {weighing.on}; a weighing before and after is better"
    )
    return Reading((amount, used), (), (remark,))
