"""Faults of an input and findings of a judgement, as values; both are rendered here only."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ledger.values.origin import Origin


class Kind(StrEnum):
    """What a finding says about an entry."""

    BREACH = "breach"
    MISSING = "missing"
    UNKNOWN = "unknown"
    ADVICE = "advice"


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with what was handed in: where, what, and the way out."""

    code: str
    origin: Origin
    what: str
    way_out: str


@dataclass(frozen=True, slots=True)
class RuleRef:
    """The rule behind a finding: file, line, key path, and the law or label it rests on."""

    file: str
    line: int
    key: str
    source: str
    confidence: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A judgement's remark about an entry, a day or a period.

    ``name`` is the rule's own name in its file (or the check's name), stable across wording;
    ``column`` the heading of the day sheet it is about; ``blocks`` whether the day's close waits
    for an answer.
    """

    kind: Kind
    code: str
    name: str
    text: str
    column: str = ""
    way_out: str = ""
    rules: tuple[RuleRef, ...] = ()
    blocks: bool = False


def render_fault(fault: Fault) -> str:
    """Return ``file:row: CODE column: what is wrong; how to put it right``."""
    where = fault.origin.place()
    column = fault.origin.column or fault.origin.cell
    spot = f" {column}" if column else ""
    way_out = f"; {fault.way_out}" if fault.way_out else ""
    return f"{where}: {fault.code}{spot}: {fault.what}{way_out}"


def render_finding(finding: Finding, where: str) -> str:
    """Return the finding in the same shape, with the record's place and every rule's place."""
    column = f" {finding.column}" if finding.column else ""
    way_out = f"; {finding.way_out}" if finding.way_out else ""
    rules = "".join(
        f" [{rule.file}:{rule.line} {rule.source}"
        + (f", {rule.confidence}" if rule.confidence else "")
        + "]"
        for rule in finding.rules
    )
    return f"{where}: {finding.kind} {finding.code}{column}: {finding.text}{way_out}{rules}"
