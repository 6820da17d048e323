"""Step 6: what forbids closing a day, and what the close seals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.values.finding import Finding, Kind


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing that a close waits for: what, and the command that settles it."""

    what: str
    way_out: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """One current application of the day with its newest findings."""

    seq: int
    applicator: str
    findings: tuple[Finding, ...]
    late: bool = False


@dataclass(frozen=True, slots=True)
class HeldLine:
    """One open held line that touches the day."""

    seq: int
    place: str
    what: str


def obstacles(
    lines: Sequence[DayLine], held: Sequence[HeldLine], open_runs: Sequence[str]
) -> tuple[Obstacle, ...]:
    """Return everything the close waits for, in the order a person would clear it.

    Held lines and unanswered questions wait; breaches and what cannot be told do not.
    """
    found = [
        Obstacle(
            f"the import of {name} was interrupted",
            f"hand it in again to finish it: useledger record {name}",
        )
        for name in open_runs
    ]
    found += [
        Obstacle(
            f"held {line.seq} ({line.place}): {line.what}",
            f"useledger held fix {line.seq} column=value, or useledger held drop {line.seq} "
            '--because "..."',
        )
        for line in held
    ]
    for line in lines:
        found += [
            Obstacle(
                f"entry {line.seq} owes an answer: {finding.text}",
                f"useledger amend {line.seq} {finding.column or 'column'}=... --because ... "
                "--by ...",
            )
            for finding in line.findings
            if finding.blocks and finding.kind is Kind.MISSING
        ]
    return tuple(found)


def counts(lines: Sequence[DayLine]) -> dict[str, int]:
    """Return what the close says of the day: applications, late ones, findings by kind."""
    result = {"applications": len(lines), "late": sum(line.late for line in lines)}
    for kind in Kind:
        result[str(kind)] = sum(finding.kind is kind for line in lines for finding in line.findings)
    return result
