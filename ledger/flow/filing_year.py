"""A year filed in one go: every month, county and yearly report of it that is still owed."""

from __future__ import annotations

from dataclasses import replace

from ledger.flow.filing_register import FilingWish, open_in, refuse_open, reports_owed
from ledger.flow.periods import jurisdiction_of
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.values.lexicon import fold
from ledger.values.period import Period


def reports_to_file(
    workspace: Workspace, asked: Period, wish: FilingWish
) -> tuple[tuple[Period, FilingWish], ...]:
    """Return each report that a wish means, in order of time: one for a month or a named form.

    A year without a form means everything of that year that is owed to the jurisdiction and not
    filed yet. Open days and held lines of any of its periods are refused here, before anything is
    filed, unless the wish says that they are known.
    """
    if asked.month or wish.form is not None:
        return ((asked, wish),)
    place = jurisdiction_of(workspace, wish.jurisdiction)
    file = workspace.book.jurisdiction(place.id)
    duties = {duty.name: duty for duty in (file.reports if file else ())}
    with workspace.store.reading() as reader:
        filings = list(reader.filings())
        owed = [
            item
            for item in reports_owed(workspace, reader, filings, workspace.today())
            if item.jurisdiction == place.id and item.period.year == asked.year
        ]
        found: dict[tuple[Period, str, str], None] = {}
        for item in owed:
            duty = duties[item.duty]
            if wish.county is None or fold(wish.county) == fold(item.county):
                found[item.period, duty.form, item.county] = None
        for period in sorted({period for period, *_ in found}):
            refuse_open(open_in(reader, period), period, wish)
    if not found:
        raise WorkspaceProblem(
            f"nothing of {asked.text} is owed in {place.name} and not filed",
            "see useledger filings; name a form with --form to file it all the same",
        )
    ordered = sorted(found, key=lambda item: (item[0].last, item[0].month == 0, *item[1:]))
    return tuple(
        (period, replace(wish, form=form, county=county or None))
        for period, form, county in ordered
    )
