"""The duties of a jurisdiction file: clocks, keeping, papers, incidents, and what lies dormant."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from ledger.rulebook import grammar
from ledger.rulebook.conditions import read_condition
from ledger.rulebook.laws import read_of, read_supersedes
from ledger.rulebook.model import Deadline, Dormant, Incident, Paper, Retention
from ledger.rulebook.part import Part
from ledger.values.amount import Quantity

_BUSINESS = re.compile(r"(\d{1,3}) business days?")
_FROM_PAPER = {
    "on completion": "completion of the work", "after the work": "application",
    "on request": "request",
}  # fmt: skip
"""What starts the clock of a paper, by its moment; other moments lie before the work."""


def read_within(part: Part) -> Quantity | None:
    """Return a length of time: ``24 h``, ``14 days``, ``5 business days``, ``same day``.

    Business days have the unit ``business day``; the same day is 0 day.
    """
    text = part.text("within")
    if not text:
        return None
    if text == "same day":
        return Quantity(Fraction(0), "day")
    business = _BUSINESS.fullmatch(text)
    if business:
        return Quantity(Fraction(business[1]), "business day")
    return part.measured("within", text, "time")


def read_deadlines(root: Part) -> tuple[Deadline, ...]:
    """Return the clocks of the law, and those of its papers."""
    found = []
    for part in root.parts("deadline"):
        name, what = part.name(findable=True), part.text("what")
        within = read_within(part)
        source = part.source()
        clock = Deadline(
            name,
            what,
            within or Quantity(Fraction(0), "day"),
            part.ref(source),
            read_of(source),
            when=read_condition(part),
            span=part.span(),
            about=part.phrase("about", grammar.ABOUT, "record"),
            counted_from=part.phrase("counted_from", grammar.STARTS, "application"),
            who=part.text("who"),
            to=part.text("to"),
            grace=part.text("grace"),
            supersedes=read_supersedes(part),
        )
        if within is not None:
            found.append(clock)
    return tuple(found)


def clocks_of(papers: Iterable[Paper]) -> tuple[Deadline, ...]:
    """Return the clock of every paper that is due some time after the work or a request."""
    return tuple(
        Deadline(
            paper.name,
            f"give {paper.to}: {paper.says}",
            paper.within,
            paper.ref,
            paper.read,
            paper.when,
            paper.span,
            about="request" if paper.at == "on request" else "paper",
            counted_from=_FROM_PAPER[paper.at],
            who="the firm",
            to=paper.to,
        )
        for paper in papers
        if paper.within is not None and paper.at in _FROM_PAPER
    )


def read_retentions(root: Part) -> tuple[Retention, ...]:
    """Return how long records are kept."""
    found = []
    for part in root.parts("retention"):
        name, years = part.name(), part.whole("years", 1, 100)
        counted = part.phrase("counted_from", grammar.COUNTED_FROM)
        says = part.text("says")
        about = part.phrases("about", grammar.RECORDS) if part.has("about") else ()
        source = part.source()
        # What ends with somebody's employment is a record about a person.
        usual = "training" if counted == "employment end" else "application"
        found.append(
            Retention(
                name,
                years or 0,
                counted,
                part.ref(source),
                read_of(source),
                part.span(),
                when=read_condition(part),
                of=part.text("of") or says,
                supersedes=read_supersedes(part),
                about=about or (usual,),
            )
        )
    return tuple(found)


def read_papers(root: Part) -> tuple[Paper, ...]:
    """Return the papers that people are owed before and after the work."""
    found = []
    for part in root.parts("paper"):
        source = part.source()
        paper = Paper(
            part.name(findable=True),
            part.phrase("at", grammar.PAPER_AT),
            part.text("to"),
            part.text("says"),
            part.ref(source),
            read_of(source),
            fields=part.phrases("fields", grammar.PAPER_FIELDS),
            within=read_within(part),
            statement=part.text("statement"),
            waiver=part.text("waiver"),
            electronic=part.text("electronic"),
            when=read_condition(part),
            span=part.span(),
        )
        if paper.within is not None and paper.at and paper.at not in _FROM_PAPER:
            way_out = f"take it out, or write at = one of: {', '.join(_FROM_PAPER)}"
            part.fault("within", "RULE-BOUND", f'"{paper.at}" starts no clock', way_out)
        found.append(paper)
    return tuple(found)


def read_incidents(root: Part) -> tuple[Incident, ...]:
    """Return what must be told when something goes wrong."""
    found = []
    for part in root.parts("incident"):
        source = part.source()
        more_than = []
        for text in part.texts("more_than"):
            amount = part.measured("more_than", text, "volume", "mass")
            more_than += [amount] if amount is not None else []
        found.append(
            Incident(
                part.name(),
                part.text("what"),
                read_within(part),
                part.text("to"),
                part.text("says"),
                part.ref(source),
                read_of(source),
                tuple(more_than),
                part.text("how"),
                part.span(),
            )
        )
    return tuple(found)


def read_dormant(root: Part) -> tuple[Dormant, ...]:
    """Return the rules that stand in the books and do not apply."""
    found = []
    for part in root.parts("dormant"):
        source = part.source()
        why = part.phrase("why", grammar.DORMANT_WHY)
        section, says = part.text("section"), part.text("says")
        found.append(Dormant(section, why, says, part.ref(source), read_of(source)))
    return tuple(found)
