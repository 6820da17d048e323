"""What an example says of papers and keeping, compared with what its file's rules give."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.checks.retention import keep_until
from ledger.filing import due, late
from ledger.flow.governing import retentions_of
from ledger.rulebook.book import Book
from ledger.rulebook.model import Example, RuleFile
from ledger.rulebook.when import holds
from ledger.values.period import Period


def duties_otherwise(example: Example, case: Case, file: RuleFile, book: Book) -> Iterator[str]:
    """Yield in words how the papers and the keeping come out otherwise than the example says.

    ``book`` holds the example's own file alone. An example that does not ask is not compared.
    """
    if example.papers is not None:
        owed = set(_papers(case, file, book))
        said = set(example.papers)
        if owed - said:
            yield f"also the papers {', '.join(sorted(owed - said))}"
        if said - owed:
            yield f"not the papers {', '.join(sorted(said - owed))}"
    if example.kept_until is not None:
        until = _kept(example, case, book)
        if until != example.kept_until:
            yield f"kept until {until or 'nobody can tell'}, not {example.kept_until}"


def late_reports(example: Example, case: Case, file: RuleFile) -> Iterator[str]:
    """Yield the reports of the line's period that came too late, where the example says when."""
    if example.filed is None:
        return
    day = case.use.date
    for duty in file.reports:
        period = Period(day.year) if duty.every == "year" else Period(day.year, day.month)
        when = due(duty, period, file.state)
        if duty.span.holds(period.last) and late(example.filed, when, example.posted).late:
            yield duty.name


def _papers(case: Case, file: RuleFile, book: Book) -> Iterator[str]:
    facts = facts_of(case)
    for paper in file.papers:
        if paper.span.holds(case.use.date) and holds(paper.when, facts, book.units):
            yield paper.name


def _kept(example: Example, case: Case, book: Book) -> date | None:
    """Return the day by the file's rules; the record was made when it says, else on its day."""
    day = case.use.date
    made = example.recorded.date() if example.recorded else day
    days = {
        "application": day, "completion of the work": day + timedelta(days=case.use.end_day),
        "record made": made, "record made or amended": made,
    }  # fmt: skip
    return keep_until(days, [rule for rule, _ in retentions_of(book, case)]).day
