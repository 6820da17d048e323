"""How much product a line used: its amount, its dilution, and what follows from both."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.normalise.amounts import read_amount, read_dilution, work_out_used
from ledger.normalise.products import Named
from ledger.normalise.text import cell
from ledger.units import Units
from ledger.values.amount import Amount, Dilution, Used
from ledger.values.draft import Draft
from ledger.values.reading import Reading

LABEL_SETTLES = frozenset({"AMOUNT-OUNCE", "AMOUNT-BASIS"})
"""Faults that a label would mend: said where its file cannot be read, not of an unknown product."""


@dataclass(frozen=True, slots=True)
class Dose:
    """What was put down as written, how it was mixed, and the undiluted product in it."""

    amount: Amount
    dilution: Dilution | None
    used: Used


def read_dose(draft: Draft, named: Named | None, units: Units, ratio: str) -> Reading[Dose]:
    """Return the dose of a line, or every fault of its amount, basis and dilution.

    ``named`` is None where the line's product is not known: that fault holds the line already,
    and only what would be wrong with any product is added to it. Where the label file cannot be
    read, the dose is read without it, and faulted only if it needs the label.
    """
    product = named.product if named else None
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
