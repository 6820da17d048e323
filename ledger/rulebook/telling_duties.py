"""The duties of a jurisdiction in plain words: clocks, keeping, papers, incidents."""

from __future__ import annotations

from ledger.rulebook.field_words import field_words
from ledger.rulebook.model import Deadline, Incident, Paper, Requirement, Retention
from ledger.rulebook.telling_words import quantity_words, tail_words
from ledger.values.amount import Quantity


def manner_words(item: Requirement) -> str:
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
    return f" ({'; '.join(parts)})" if parts else ""


def within_words(within: Quantity) -> str:
    """Return a length of time: ``the same day``, ``within 5 business days``."""
    if within.unit == "day" and within.value == 0:
        return "the same day"
    many = "s" if within.value != 1 and within.unit not in {"h", "min", "s"} else ""
    return f"within {quantity_words(within)}{many}"


def deadline_words(item: Deadline) -> str:
    """Return a clock: who does what, by when."""
    who = f"{item.who}: " if item.who else ""
    to = f", to {item.to}" if item.to else ""
    grace = f' ("{item.grace}")' if item.grace else ""
    clock = f"{within_words(item.within)} from the {item.counted_from}{grace}"
    return f"{who}{item.what}{to}: {clock}{tail_words(item)}"


def retention_words(item: Retention) -> str:
    """Return how long something is kept."""
    of = f"{item.of}: " if item.of else ""
    if item.about != ("application",):
        of = f"of the sort {', '.join(item.about)}: {of}"
    years = f"{item.years} year{'' if item.years == 1 else 's'}"
    return f"{of}{years}, counted from {item.counted_from}{tail_words(item)}"


def paper_words(item: Paper) -> str:
    """Return a paper: when, to whom, what it says, and how else it may be given."""
    clock = f", {within_words(item.within)}" if item.within is not None else ""
    fields = f"; it says: {', '.join(map(field_words, item.fields))}" if item.fields else ""
    fixed = f'; fixed words: "{item.statement}"' if item.statement else ""
    waiver = f"; waived: {item.waiver}" if item.waiver else ""
    electronic = f"; by electronic means: {item.electronic}" if item.electronic else ""
    said = f"{item.at}{clock}, to {item.to}: {item.says}{fields}{fixed}"
    return f"{said}{waiver}{electronic}{tail_words(item)}"


def incident_words(item: Incident) -> str:
    """Return what is told when something goes wrong, and to whom."""
    bounds = " or ".join(quantity_words(bound) for bound in item.more_than)
    over = f" of more than {bounds}" if bounds else ""
    clock = f" {within_words(item.within)}" if item.within is not None else ""
    how = f", {item.how}" if item.how else ""
    said = item.says.removesuffix(".")
    return f"{item.what}{over}: to {item.to}{clock}{how}. {said}{tail_words(item)}"
