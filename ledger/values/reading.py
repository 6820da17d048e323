"""The outcome of reading a text: a value, or the faults that forbid one, and remarks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

from ledger.values.finding import Fault

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Reading(Generic[T]):
    """``value`` is None when there are faults (or when the text was blank).

    ``remarks`` say what was understood where a person might wonder ("24 oz of a liquid is read
    as 24 fl oz").
    """

    value: T | None
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()
