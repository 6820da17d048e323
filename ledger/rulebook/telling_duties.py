"""The duties of a jurisdiction in plain words: clocks, keeping, papers, incidents."""

from __future__ import annotations

from ledger.rulebook.model import Deadline, Incident, Paper, Requirement, Retention, RuleFile
from ledger.rulebook.telling_words import (
    quantity_words,
    ref_words,
    section,
    span_words,
    when_words,
)
from ledger.values.amount import Quantity


def tell_duties(file: RuleFile) -> list[str]:
    """Return the lines on clocks, keeping, papers and incidents of a rule file."""
    papers = {paper.name for paper in file.papers}
    clocks = (_deadline(item) for item in file.deadlines if item.name not in papers)
    lines = section("By when", clocks)
    lines += section("Kept for", (_retention(item) for item in file.retentions))
    lines += section("Papers for people", (_paper(item) for item in file.papers))
    return lines + section("When something goes wrong", (_incident(i) for i in file.incidents))


def tell_manners(item: Requirement) -> str:
    """Return how a field must be said, and what stands in for it."""
    parts = []
    if item.elsewhere:
        parts.append(f"or kept by the firm as {' or '.join(item.elsewhere)}")
    if item.words:
        said = " or ".join(f'"{word}"' for word in item.words)
        parts.append(f"with the words {said}")
    if item.units:
        parts.append(f"in {' or '.join(item.units)}")
    if item.longest is not None:
        parts.append(f"at most {item.longest} characters")
    if item.refused:
        parts.append(f"not as {' or '.join(item.refused)}")
    if item.not_as:
        parts.append(f"not as {' or '.join(item.not_as)}")
    if item.supersedes:
        parts.append(f"in place of {' and '.join(item.supersedes)}")
    return f" ({'; '.join(parts)})" if parts else ""


def within_words(within: Quantity) -> str:
    """Return a length of time: ``the same day``, ``within 5 business days``."""
    if within.unit == "day" and within.value == 0:
        return "the same day"
    many = "s" if within.value != 1 and within.unit not in {"h", "min", "s"} else ""
    return f"within {quantity_words(within)}{many}"


def _deadline(item: Deadline) -> str:
    who = f"{item.who}: " if item.who else ""
    to = f", to {item.to}" if item.to else ""
    grace = f' ("{item.grace}")' if item.grace else ""
    clock = f"{within_words(item.within)} from {item.counted_from}{grace}"
    tail = f"{when_words(item.when)}{span_words(item.span)}{ref_words(item)}"
    return f"{who}{item.what}{to}: {clock}{tail}"


def _retention(item: Retention) -> str:
    of = f"{item.of}: " if item.of else ""
    years = f"{item.years} year{'' if item.years == 1 else 's'}"
    tail = f"{when_words(item.when)}{span_words(item.span)}{ref_words(item)}"
    return f"{of}{years}, counted from {item.counted_from}{tail}"


def _paper(item: Paper) -> str:
    clock = f", {within_words(item.within)}" if item.within is not None else ""
    fields = f"; it says: {', '.join(item.fields).replace('_', ' ')}" if item.fields else ""
    fixed = f'; fixed words: "{item.statement}"' if item.statement else ""
    waiver = f"; waived: {item.waiver}" if item.waiver else ""
    electronic = f"; by electronic means: {item.electronic}" if item.electronic else ""
    tail = f"{when_words(item.when)}{span_words(item.span)}{ref_words(item)}"
    said = f"{item.at}{clock}, to {item.to}: {item.says}{fields}{fixed}"
    return f"{said}{waiver}{electronic}{tail}"


def _incident(item: Incident) -> str:
    bounds = " or ".join(quantity_words(bound) for bound in item.more_than)
    over = f" of more than {bounds}" if bounds else ""
    clock = f" {within_words(item.within)}" if item.within is not None else ""
    how = f", {item.how}" if item.how else ""
    return f"{item.what}{over}: to {item.to}{clock}{how}. {item.says}{ref_words(item)}"
