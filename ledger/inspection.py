"""Step 9: what a record and its judgement say now against what was sealed. Pure comparison."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from ledger.values.entry import Application
from ledger.values.finding import Finding


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that comes out otherwise than it was sealed."""

    what: str
    sealed: str
    now: str


def compare_uses(sealed: Application, now: Application | None) -> tuple[Difference, ...]:
    """Return every field of the record that comes out otherwise from the kept cells."""
    if now is None:
        return (Difference("the record", "booked", "could not be booked from these cells now"),)
    if sealed == now:
        return ()
    return tuple(
        Difference(field.name, str(getattr(sealed, field.name)), str(getattr(now, field.name)))
        for field in fields(Application)
        if getattr(sealed, field.name) != getattr(now, field.name)
    )


def compare_findings(sealed: Sequence[Finding], now: Sequence[Finding]) -> tuple[Difference, ...]:
    """Return findings that were sealed and do not come out now, or the other way round."""
    gone = [finding for finding in sealed if finding not in now]
    new = [finding for finding in now if finding not in sealed]
    return tuple(
        [Difference(f"{item.kind} {item.code}", item.text, "not found now") for item in gone]
        + [Difference(f"{item.kind} {item.code}", "not found then", item.text) for item in new]
    )
