"""Papers: sheets written to files, by the ending of the name, and shown on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.common import staged_file, stop
from ledger.cli.printing import filled, table
from ledger.values.summary_rows import ingredient_rows, line_rows

if TYPE_CHECKING:
    from ledger.flow.workspace import Workspace
    from ledger.rulebook.form_model import Form
    from ledger.values.summary import Summary
    from reports.sheet import LongSheet, Sheet

LINE_COLUMNS = (
    "jurisdiction", "county", "county_number", "year", "month", "site_code", "registration",
    "product", "total_used", "unit", "applications",
)  # fmt: skip
INGREDIENT_COLUMNS = (
    "jurisdiction", "county", "county_number", "year", "month", "ingredient", "cas", "pounds",
    "applications",
)  # fmt: skip
KINDS = (".xlsx", ".pdf", ".csv")


def sheets_of(workspace: Workspace, summary: Summary, form: Form) -> tuple[Sheet, ...]:
    """Return a summary's sheets, or stop where the form cannot be filled from totals."""
    from ledger.values.finding import render_fault
    from reports.summary import Printing, form_faults, summary_sheets

    faults = form_faults(form)
    if faults:
        stop("\n".join(render_fault(fault) for fault in faults))
    return summary_sheets(summary, form, Printing(workspace.book.firm, workspace.today()))


def file_bytes(sheets: Sequence[Sheet], suffix: str, author: str = "") -> bytes:
    """Return sheets as a workbook, a PDF or a CSV file (one sheet only)."""
    if suffix == ".xlsx":
        from reports.xlsx import workbook

        return workbook(sheets)
    if suffix == ".pdf":
        from reports.pdf import document

        return document(sheets, author)
    if suffix == ".csv":
        from reports.csv_file import sheet_csv

        return sheet_csv(sheets[0])
    return stop(f'"{suffix}" is no kind of paper; name a file that ends in {", ".join(KINDS)}')


def write_file(sheet: LongSheet, path: Path, author: str) -> None:
    """Write a sheet of any length to a file, by the ending of its name.

    A PDF is set as a whole, so its rows are held together; a workbook and a CSV file are not.
    """
    from dataclasses import replace

    suffix = path.suffix.casefold()
    with staged_file(path) as out:
        if suffix == ".xlsx":
            from reports.xlsx import write_workbook

            write_workbook([sheet], out)
        elif suffix == ".csv":
            from reports.csv_file import write_csv

            write_csv(sheet, out)
        else:
            rows = tuple(sheet.rows)
            out.write(file_bytes([replace(sheet.ending(), rows=rows)], suffix, author))


def machine_csv(summary: Summary) -> tuple[bytes, bytes]:
    """Return the lines and the ingredients of a summary as machine-readable CSV."""
    from reports.csv_file import rows_csv

    return (
        rows_csv(LINE_COLUMNS, line_rows(summary)),
        rows_csv(INGREDIENT_COLUMNS, ingredient_rows(summary)),
    )


def summary_files(workspace: Workspace, part: Summary, form: Form, path: Path) -> dict[str, bytes]:
    """Return the files that a summary of one county becomes under this name."""
    suffix = path.suffix.casefold()
    if suffix == ".txt" and form.writes == "pipe":
        (data,) = regulator_file(part, form).values()
        return {path.name: data}
    if suffix == ".csv" and form.grain == "total":
        lines, ingredients = machine_csv(part)
        return {path.name: lines, f"{path.stem}-ingredients.csv": ingredients}
    sheets = sheets_of(workspace, part, form)
    return {path.name: file_bytes(sheets, suffix, workspace.book.firm.name)}


def regulator_file(part: Summary, form: Form) -> dict[str, bytes]:
    """Return the file in the regulator's own layout by its name, where the form has one."""
    from ledger.values.finding import render_fault
    from reports.listing import pipe_faults, pipe_file, pipe_name

    if form.writes != "pipe":
        return {}
    faults = pipe_faults(part, form)
    if faults:
        stop("\n".join(render_fault(fault) for fault in faults))
    return {pipe_name(form, part): pipe_file(part, form)}


def county_papers(
    workspace: Workspace, summary: Summary, form: Form, counties: Sequence[str]
) -> dict[str, dict[str, bytes]]:
    """Return for each county its report as workbook, PDF and CSV, by file name."""
    from ledger.flow.filing_register import beside

    papers: dict[str, dict[str, bytes]] = {}
    for county in counties:
        part = summary.of_county(county)
        name = f"{form.id}-{summary.period.key}-{county.casefold().replace(' ', '-') or 'all'}"
        files: dict[str, bytes] = {}
        for suffix in KINDS:
            files.update(summary_files(workspace, part, form, Path(name + suffix)))
        files.update(regulator_file(part, form))
        papers[county] = files
    for other, its_form in beside(workspace, summary, form):
        first = next(iter(papers.values()))
        for name, data in county_papers(workspace, other, its_form, [""])[""].items():
            first[name] = data
    return papers


def sheet_text(sheet: Sheet, *, wide: bool = False, after: Sheet | None = None) -> str:
    """Return a sheet as a person reads it on a terminal.

    ``wide`` lets the table be as wide as it is. What stands under the title is not said again
    where it is that of the sheet ``after`` which this one comes.
    """
    from reports.sheet import Kind, shown

    before = after.about if after else ()
    about = [f"{what}: {value}" for what, value in sheet.about]
    new = [f"{what}: {value}" for what, value in sheet.about if (what, value) not in before]
    lines = [sheet.title, *(about if len(new) > len(about) // 2 else new), ""]
    if sheet.rows:
        headings = [column.heading for column in sheet.columns]
        rows = [[shown(value) for value in row] for row in (*sheet.rows, *sheet.totals)]
        right = [n for n, column in enumerate(sheet.columns) if column.kind is Kind.NUMBER]
        lines.append(table(headings, rows, right, 10_000 if wide else None))
    else:
        lines.append(sheet.statement or "nothing")
    said = after.notes if after else ()
    notes = [filled(note.whole, "* ", "  ") for note in sheet.notes if note not in said]
    return "\n".join([*lines, "", *notes] if notes else lines)


def sheets_text(sheets: Sequence[Sheet]) -> str:
    """Return sheets one below the other; one does not repeat what the one above it said."""
    texts = [
        sheet_text(sheet, after=sheets[number - 1] if number else None)
        for number, sheet in enumerate(sheets)
    ]
    return "\n\n".join(texts)
