"""How much product a line used: its amount, its dilution, and what follows from both."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from ledger.normalise.amounts import read_amount, read_dilution, work_out_used
from ledger.normalise.counted import counted, read_counted, weighing_of
from ledger.normalise.products import Named
from ledger.normalise.text import cell
from ledger.units import Units
from ledger.values.amount import Amount, Dilution, Used
from ledger.values.draft import Draft
from ledger.values.firm import Firm
from ledger.values.lexicon import fold
from ledger.values.product import Product
from ledger.values.reading import Reading

LABEL_SETTLES = frozenset({"AMOUNT-OUNCE", "AMOUNT-BASIS"})
"""Faults that a label would mend: said where its file cannot be read, not of an unknown product."""


@dataclass(frozen=True, slots=True)
class Dose:
    """What was put down as written, how it was mixed, and the undiluted product in it."""

    amount: Amount
    dilution: Dilution | None
    used: Used


def read_dose(
    draft: Draft, named: Named | None, units: Units, firm: Firm, day: date | None
) -> Reading[Dose]:
    """Return the dose of a line, or every fault of its amount, basis and dilution.

    A counted amount is an estimate by the weighing of the tool that the line names.

    ``named`` is None where the line's product is not known: that fault holds the line already,
    and only what would be wrong with any product is added to it. Where the label file cannot be
    read, the dose is read without it, and faulted only if it needs the label.
    """
    product = named.product if named else None
    ratio = firm.ratio
    estimate = _estimated(draft, product, firm, day)
    if estimate is not None:
        return estimate
    at_amount, at_dilution = draft.at("amount"), draft.at("dilution")
    amount = read_amount(cell(draft, "amount"), cell(draft, "basis"), product, units, at_amount)
    dilution = read_dilution(cell(draft, "dilution"), product, units, ratio, at_dilution)
    faults = (*amount.faults, *dilution.faults)
    remarks = (*amount.remarks, *dilution.remarks)
    if named is None:
        return Reading(None, tuple(item for item in faults if item.code not in LABEL_SETTLES))
    if faults or amount.value is None:
        return Reading(None, faults, remarks)
    used = work_out_used(amount.value, dilution.value, product, units, at_dilution)
    remarks = (*remarks, *used.remarks)
    if used.value is None:
        return Reading(None, used.faults, remarks)
    return Reading(Dose(amount.value, dilution.value, used.value), (), remarks)


def _estimated(
    draft: Draft, product: Product | None, firm: Firm, day: date | None
) -> Reading[Dose] | None:
    """Return the dose of a counted amount; None where it is none, or no weighing is at hand."""
    text, equipment = cell(draft, "amount"), cell(draft, "equipment")
    count = counted(text)
    if count is None or product is None or day is None or fold(cell(draft, "basis")) == "mix":
        return None
    weighing = weighing_of(firm, equipment, product.id, count[1], day)
    if weighing is None or not product.weighed or cell(draft, "dilution"):
        return None
    reading = read_counted(text, product, weighing, draft.at("amount"))
    if reading.value is None:
        return Reading(None, reading.faults)
    amount, used = reading.value
    return Reading(Dose(amount, None, used), (), reading.remarks)
