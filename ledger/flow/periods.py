"""A period summed, as a form states it, and every sum opened to the entries behind it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from ledger.flow.lines import BOOKED
from ledger.flow.single_uses import single_uses
from ledger.flow.workspace import Workspace, WorkspaceProblem, rebuild_book
from ledger.journal import Reader
from ledger.listing import ListScope, list_uses
from ledger.rulebook.book import place_of
from ledger.rulebook.form_model import Form
from ledger.rulebook.model import ReportDuty
from ledger.summarise import Scope, summarise
from ledger.values.lexicon import PlaceOfLaw
from ledger.values.period import Period
from ledger.values.product import Product
from ledger.values.sealed import EntryKind, Sealed
from ledger.values.summary import Summary, UseLine
from ledger.values.use_row import UseRow


def jurisdiction_of(workspace: Workspace, name: str | None) -> PlaceOfLaw:
    """Return the jurisdiction asked for, or the firm's home; raise naming the known ones."""
    wanted = name or workspace.book.firm.home
    file = workspace.book.jurisdiction(wanted)
    if file is not None and file.state:
        return place_of(file)
    known = ", ".join(place.id for place in workspace.book.lexicon().places_of_law)
    raise WorkspaceProblem(f'no rule file describes the jurisdiction "{wanted}"', f"known: {known}")


def duty_of(
    workspace: Workspace, place: PlaceOfLaw, period: Period, form: str | None
) -> tuple[ReportDuty | None, Form]:
    """Return the duty that owes a report of this kind of period, and its form."""
    file = workspace.book.jurisdiction(place.id)
    every = "month" if period.month else "year"
    duties = [] if file is None else [
        duty for duty in file.reports
        if duty.every == every and form in {None, duty.form} and duty.span.holds(period.last)
    ]  # fmt: skip
    name = form or (duties[0].form if duties else None)
    found = workspace.book.form(name) if name else None
    if found is None:
        forms = ", ".join(item.id for item in workspace.book.forms)
        raise WorkspaceProblem(
            f"no form for {place.id} and the {every} {period.key}"
            if name is None
            else f'there is no form "{name}"',
            f"name one with --form; known: {forms}",
        )
    return (duties[0] if duties else None), found


def summary_of(
    workspace: Workspace, reader: Reader, period: Period, place: PlaceOfLaw, form: Form
) -> Summary:
    """Return what was used in a period, as the form states it."""
    if form.grain != "total":
        return listing_of(workspace, reader, period, place, form)
    months = [
        reader.month_use(place.id, month.year * 100 + month.month)
        for month in (period.months if not period.month else (period,))
    ]
    groups = [group for found, _ in months for group in found]
    visits = tuple(count for _, counts in months for count in counts)
    registered = tuple(
        item.county for item in workspace.book.firm.registrations
        if item.jurisdiction == place.id and item.year == period.year
    )  # fmt: skip
    products = products_by_label(workspace, reader, {group.label[:16] for group in groups})
    scope = Scope(place, period, registered, visits)
    return summarise(groups, products, form, scope, workspace.book.units)


def listing_of(
    workspace: Workspace, reader: Reader, period: Period, place: PlaceOfLaw, form: Form
) -> Summary:
    """Return a report of single applications, of groups of them, or of people."""
    uses = list(single_uses(workspace, reader, period, place))
    products = products_by_label(workspace, reader, {use.label[:16] for use in uses if use.label})
    registered = tuple(
        item.county for item in workspace.book.firm.registrations
        if item.jurisdiction == place.id and item.year == period.year
    )  # fmt: skip
    scope = ListScope(place, period, workspace.book.firm, registered)
    return list_uses(uses, products, form, scope, workspace.book.units)


def products_by_label(
    workspace: Workspace, reader: Reader, wanted: Iterable[str]
) -> dict[str, Product]:
    """Return the label versions used, by the first 16 digits of their digest.

    A label file that is not in the workspace any more is read from the rule texts the ledger
    keeps.
    """
    books = [workspace.book]
    found: dict[str, Product] = {}
    missing = set(wanted)

    def take() -> None:
        for file in books[-1].labels:
            if file.product is not None and file.product.digest[:16] in missing:
                found[file.product.digest[:16]] = file.product
                missing.discard(file.product.digest[:16])

    take()
    if missing:
        for entry in reader.entries(kinds=(EntryKind.RULES,)):
            if any(item["digest"][:16] in missing for item in entry.body["files"]):
                books.append(rebuild_book(reader, entry.body["files"]))
                take()
    return found


def summarise_period(
    workspace: Workspace, period: Period, jurisdiction: str | None = None, form: str | None = None
) -> tuple[Summary, Form, PlaceOfLaw, ReportDuty | None]:
    """Return the summary of a period with the form, the place and the duty behind it."""
    place = jurisdiction_of(workspace, jurisdiction)
    duty, found = duty_of(workspace, place, period, form)
    with workspace.store.reading() as reader:
        return summary_of(workspace, reader, period, place, found), found, place, duty


def entries_behind(workspace: Workspace, summary: Summary, line: UseLine | UseRow) -> list[Sealed]:
    """Return the current entries that make a line of a summary."""
    with workspace.store.reading() as reader:
        if isinstance(line, UseRow):
            return [reader.entry(seq) for seq in line.entries]
        return list(_behind(reader, summary, line))


def _behind(reader: Reader, summary: Summary, line: UseLine) -> Iterable[Sealed]:
    """Yield the entries of a line; one without county or code stands for all of them."""
    for entry in reader.entries(
        kinds=BOOKED, current_only=True, jurisdiction=summary.jurisdiction,
        county=line.county or None, date_from=summary.period.first, date_to=summary.period.last,
        product_key=line.product_key,
    ):  # fmt: skip
        if line.site_code in {"", entry.body["site_code"]}:
            yield entry


def line_of_entry(
    workspace: Workspace, reader: Reader, entry: Sealed
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return in words the report line an entry stands in, and the filings that hold that line."""
    body = entry.body
    day = date.fromisoformat(body["date"])
    period = Period(day.year, day.month)
    try:
        place = jurisdiction_of(workspace, body["jurisdiction"])
        _, form = duty_of(workspace, place, period, None)
    except WorkspaceProblem as problem:
        return (problem.what,), ("no report is made of it",)
    if reader.newest_version(entry.seq).seq != entry.seq:
        return ("not summed: a newer version stands in its place",), _filings_of(
            reader, body, period
        )
    summary = summary_of(workspace, reader, period, place, form)
    for line in summary.lines:
        same = (line.county, line.product_key, line.site_code)
        if same == (body["county"], body["product_key"], body["site_code"]):
            text = (
                f"line {line.number} of {form.id}, {period.text}, {line.county}: {line.product} "
                f"({line.registration or 'no number'}), {line.lines} lines"
            )
            return (text,), _filings_of(reader, body, period)
    return ("under the report as a remark, not on a line of it",), _filings_of(reader, body, period)


def _filings_of(reader: Reader, body: Mapping[str, Any], period: Period) -> tuple[str, ...]:
    found = tuple(
        f"entry {entry.seq}: {entry.body['form']} for {entry.body['county']}, {period.text}, filed "
        f"{entry.body['filed_on']}"
        for entry in reader.filings()
        if entry.body["period"] == period.key
        and entry.body["county"] == body["county"]
        and entry.body["jurisdiction"] == body["jurisdiction"]
    )
    return found or ("not filed yet",)
