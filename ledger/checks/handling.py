"""Days on which a product may be used, and what is allowed where food is handled."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.done import done_of
from ledger.checks.places import known
from ledger.checks.say import Tools, finding
from ledger.rulebook.model import Limit
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold

_OPERATION = {"in operation": "open", "closed for business": "closed"}


def check_dates(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the day of the work: within the first and last day of use, of the lots named."""
    use = case.use
    day, span = use.date, limit.days
    outside = not span.holds(day)
    if not outside:
        return
    if limit.lots and not use.lot:
        text = "cannot tell whether the container was within its days of use: lot is blank"
        yield finding(limit, tools, Kind.UNKNOWN, text, "lot", "amend lot")
        return
    if limit.lots and fold(use.lot) not in map(fold, limit.lots):
        return
    bound = f"from {span.start}" if span.start and day < span.start else f"until {span.end}"
    text = f"used on {day}, {tools.authority} allows it {bound}"
    yield finding(limit, tools, Kind.BREACH, text, "date")


def check_food_areas(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the method by the table of food and non-food areas, open or closed.

    A place is a food or a non-food area by its traits; whether the establishment was open stands
    under ``prepared`` (``in operation``, ``closed for business``) and is asked for only where the
    table makes a difference of it.
    """
    use = case.use
    if not use.places or not use.method:
        lacking = "places" if not use.places else "method"
        text = f"cannot tell what is allowed here: {lacking} is blank"
        yield finding(limit, tools, Kind.UNKNOWN, text, lacking, f"amend {lacking}")
        return
    said = {_OPERATION[i.word] for i in done_of(case, tools) if i.word in _OPERATION}
    for place in use.places:
        area = _area(case, place)
        if area is None:
            text = f"cannot tell whether {place} is a food area"
            way_out = "amend the place, or give the word its trait in words.toml"
            yield finding(limit, tools, Kind.UNKNOWN, text, "places", way_out)
            continue
        answers = {
            operation: fold(use.method) in map(fold, _methods(limit, area, operation))
            for operation in (said or {"open", "closed"})
        }
        if not any(answers.values()):
            text = f"{use.method} in {place} ({area} area); {tools.authority} says: {limit.says}"
            yield finding(limit, tools, Kind.BREACH, text, "method")
        elif not all(answers.values()):
            text = f"cannot tell whether {use.method} in {place} is allowed: open or closed?"
            way_out = 'amend prepared with "in operation" or "closed for business"'
            yield finding(limit, tools, Kind.UNKNOWN, text, "prepared", way_out)


def _area(case: Case, place: str) -> str | None:
    traits = case.words.traits("place", place)
    if not known(case.words, "place", place):
        return None
    areas = [area for area in ("food", "non-food") if f"{area} area" in traits]
    return areas[0] if len(areas) == 1 else None


def _methods(limit: Limit, area: str, operation: str) -> tuple[str, ...]:
    rows = (row for row in limit.rows if row[0] == area and row[1] in {operation, "either"})
    return tuple(method for row in rows for method in row[2])
