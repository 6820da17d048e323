"""The licensee's commands: summary, file, filings."""

from __future__ import annotations

from datetime import date
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import (
    DONE,
    OWED,
    print_json,
    read_day,
    shared,
    staged,
    stop,
)  # fmt: skip
from ledger.cli.printing import counted, filled
from ledger.flow.workspace import open_workspace
from ledger.values.period import Period, read_period

if TYPE_CHECKING:
    from ledger.filing import Owed
    from ledger.flow.filing_register import Filed, FilingWish, Registered
    from ledger.flow.workspace import Workspace
    from ledger.rulebook.book import Book
    from ledger.rulebook.form_model import Form
    from ledger.values.summary import Summary


def _period(text: str) -> Period:
    period = read_period(text)
    if period is None:
        stop(f'"{text}" is not a period; write a month as 2026-01 or a year as 2026')
    return period


@click.command("summary")
@click.argument("period")
@click.option("--jurisdiction", metavar="J", help="As us-ca; else the firm's home.")
@click.option("--county", help="Only this county.")
@click.option("--form", metavar="F", help="A form file's id; else the one the law asks for.")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write .xlsx, .pdf or .csv, one a county."
)
@click.option("--open", "line", type=int, metavar="LINE", help="List the entries behind a line.")
@shared
def summary_command(
    period: str, workspace: str | None, as_json: bool, line: int | None, out: Path | None,
    **said: str | None,
) -> int:  # fmt: skip
    """Sum a month for a use report.

    \b
    Per county, site code and product, in the units and by the arithmetic of the form; and the
    pounds of active ingredient. With --out one file a county (a CSV has a second one for the
    ingredients).
    Examples:
      useledger summary 2026-01
      useledger summary 2026-01 --county Placer --out placer.xlsx
      useledger summary 2026-01 --open 2
    """
    from ledger.cli.papers import sheets_of, sheets_text
    from ledger.flow.doubting import with_doubts
    from ledger.flow.periods import summarise_period
    from ledger.values.summary_rows import summary_values

    opened = open_workspace(workspace)
    summary, form, place, _ = summarise_period(
        opened, _period(period), said["jurisdiction"], said["form"]
    )
    summary = with_doubts(opened, summary, place)
    counties = _counties(summary, said["county"])
    if line is not None:
        return _open_line(opened, summary, line, as_json=as_json)
    parts = [summary.of_county(county) for county in counties]
    if out is not None and parts:
        written = _write(opened, parts, form, out)
        if as_json:
            print_json({"files": [str(path) for path in written]})
        else:
            click.echo("\n".join(f"{path} is written" for path in written))
    elif as_json:
        print_json([summary_values(part) for part in parts])
    elif not parts:
        click.echo(f"No use and no registration in {place.name} for {summary.period.text}.")
    else:
        sheets = [sheet for part in parts for sheet in sheets_of(opened, part, form)]
        click.echo(sheets_text(sheets))
        click.echo(f"\nWhat stands behind a line: useledger summary {period} --open LINE")
    return DONE


def _counties(summary: Summary, wanted: str | None) -> list[str]:
    from ledger.values.lexicon import fold

    counties = [name for name in summary.counties if wanted is None or fold(name) == fold(wanted)]
    if wanted and not counties:
        known = ", ".join(summary.counties) or "none"
        stop(f'no report for "{wanted}" in {summary.period.text}; counties: {known}')
    return counties


def _write(opened: Workspace, parts: list[Summary], form: Form, out: Path) -> list[Path]:
    """Write each county's files; the county's name is added where there are several."""
    from ledger.cli.papers import summary_files

    if not out.name:
        stop("--out names no file: write it as placer.xlsx, .pdf or .csv")
    files: dict[Path, bytes] = {}
    for part in parts:
        path = out
        if len(parts) > 1:
            county = part.counties[0].casefold().replace(" ", "-")
            path = out.with_name(f"{out.stem}-{county}{out.suffix}")
        for name, data in summary_files(opened, part, form, path).items():
            files[path.with_name(name)] = data
    with staged(files):
        pass
    return list(files)


def _open_line(opened: Workspace, summary: Summary, number: int, *, as_json: bool) -> int:
    from ledger.cli.entries import entries_text, entry_rows
    from ledger.flow.listing import listed_of
    from ledger.flow.periods import entries_behind
    from reports.entries import entries_values

    line = summary.line(number)
    if line is None:
        have = f"lines 1 to {len(summary.lines)}" if summary.lines else "no lines"
        stop(f"there is no line {number}; the summary has {have}")
    rows = entry_rows(opened, listed_of(opened, entries_behind(opened, summary, line)))
    if as_json:
        print_json(entries_values(rows, opened.book.units))
    else:
        click.echo(f"Line {number}: {line.product} in {line.county}, {summary.period.text}\n")
        click.echo(entries_text(opened, rows))
    return DONE


@click.command("file")
@click.argument("period")
@click.option("--jurisdiction", metavar="J", help="As us-ca; else the firm's home.")
@click.option("--county", help="Only this county; else every county that is owed a report.")
@click.option("--form", metavar="F", help="A form file's id; else the one the law asks for.")
@click.option("--on", metavar="DATE", help="The day it was delivered (else today).")
@click.option("--posted", metavar="DATE", help="The postmark of what was mailed.")
@click.option("--how", metavar="HOW", help="By hand (usual), by mail, on line ...")
@click.option("--by", metavar="PERSON", required=True, help="Who filed it.")
@click.option("--with-open", is_flag=True, help="File although days are open or lines are held.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the filed papers.")
@shared
def file_command(
    period: str, workspace: str | None, as_json: bool, with_open: bool, out: Path | None,
    **said: str | None,
) -> int:  # fmt: skip
    """Register a period's report as filed.

    \b
    Every county at once, counties without work as well, each with a copy of what was filed.
    The ledger does not send anything: hand in or post the papers yourself. Where the law counts
    the postmark, --posted is the day that counts; elsewhere the day of delivery (--on) is.
    Examples:
      useledger file 2026-01 --by calloway
      useledger file 2026 --by calloway           every report of the year still owed
      useledger file 2026-01 --county Placer --posted 2026-02-09 --by calloway
      useledger file 2026-01 --posted 2026-02-09 --on 2026-02-12 --by calloway
    """
    from ledger.flow.filing_register import FilingWish, file_report
    from ledger.flow.filing_year import reports_to_file

    opened = open_workspace(workspace)
    day, posted = _days_said(said["on"], said["posted"], opened.today())
    how = said["how"] or ("by mail" if posted else "by hand")
    wish = FilingWish(
        day, how, opened.require_person(str(said["by"])), with_open,
        said["jurisdiction"], said["county"], said["form"], posted,
    )  # fmt: skip
    folder = out or opened.root / "reports"
    planned = [
        (asked, one, _copies(opened, asked, one))
        for asked, one in reports_to_file(opened, _period(period), wish)
    ]
    papers = {
        folder / name: data
        for *_, copies in planned
        for files in copies.values()
        for name, data in files.items()
    }
    with staged(papers):
        done = [
            (asked, item)
            for asked, one, copies in planned
            for item in file_report(opened, asked, one, copies)
        ]
    if as_json:
        print_json([_filed_json(item) for _, item in done])
    else:
        _tell_filed(done)
        click.echo(f"The papers are in {folder}. Sign them and hand them in or post them.")
    return OWED if any(item.lateness and item.lateness.late for _, item in done) else DONE


def _copies(opened: Workspace, asked: Period, wish: FilingWish) -> dict[str, dict[str, bytes]]:
    """Return the papers of one report, a set for each county it goes to."""
    from ledger.cli.papers import county_papers
    from ledger.flow.filing_register import plan_filing

    summary, form, _, _, counties = plan_filing(opened, asked, wish)
    return county_papers(opened, summary, form, counties)


def _tell_filed(done: list[tuple[Period, Filed]]) -> None:
    told: set[Period] = set()
    for asked, item in done:
        click.echo(_filed_text(item, asked))
        body = item.entry.body
        if asked not in told and (body["open_days"] or body["held"]):
            click.echo(_open_text(item))
        told.add(asked)


def _open_text(item: Filed) -> str:
    """Return what was still open when it was filed."""
    days, held = item.entry.body["open_days"], item.entry.body["held"]
    parts = [f"{counted(len(days), 'day')} not closed ({', '.join(days)})"] if days else []
    if held:
        parts.append(f"{counted(len(held), 'held line')} ({', '.join(map(str, held))})")
    return f"Filed with {' and '.join(parts)}; mending them later marks it as overtaken."


def _days_said(on: str | None, posted: str | None, today: date) -> tuple[date, date | None]:
    """Return the day of delivery, and of the postmark if it was mailed; neither lies ahead."""
    stamp = read_day(posted, "--posted") if posted else None
    day = read_day(on, "--on") if on else stamp or today
    for option, said in (("--on", day), ("--posted", stamp)):
        if said is not None and said > today:
            stop(f"{option}: {said} has not come yet; register a filing after it was made")
    if stamp is not None and day < stamp:
        stop(f"--on: {day} lies before the postmark of {stamp}; correct the one that is wrong")
    return day, stamp


def _filed_json(item: Filed) -> dict[str, Any]:
    return {
        "entry": item.entry.seq, "county": item.county, "nil": bool(item.entry.body["nil"]),
        "due": item.due.day.isoformat() if item.due and item.due.read else None,
        "posted": item.entry.body.get("posted"), "filed_on": item.entry.body["filed_on"],
        "late": item.lateness.late if item.lateness and item.lateness.known else None,
        "report": item.entry.body["report"], "open_days": list(item.entry.body["open_days"]),
        "held": list(item.entry.body["held"]),
    }  # fmt: skip


def _filed_text(item: Filed, period: Period) -> str:
    nil = " (no use)" if item.entry.body["nil"] else ""
    when = f"; {item.due.why}" if item.due else ""
    where = ", ".join(filter(None, (period.text, item.county)))
    state = f": {item.lateness.text}" if item.lateness else ""
    if item.entry.body.get("posted") and not item.entry.body["postmark"]:
        when += (
            "; no postmark rule was read for it, so the day of delivery counts (say it with --on)"
        )
    return f"entry {item.entry.seq}: {where}{nil} filed{state}{when}"


@click.command("filings")
@shared
def filings_command(workspace: str | None, as_json: bool) -> int:
    """List what was filed, owed or overtaken.

    \b
    A filed report is overtaken when entries behind it were mended since: the difference is shown.
    Example:
      useledger filings
    """
    from ledger.flow.doubting import doubts_before_filing
    from ledger.flow.filing_register import list_filings, unregistered

    opened = open_workspace(workspace)
    filings, owed = list_filings(opened)
    advice = (*unregistered(opened), *doubts_before_filing(opened, [item.period for item in owed]))
    if as_json:
        print_json({
            "filings": [_registered_json(item) for item in filings],
            "owed": [
                {
                    "duty": item.duty, "period": item.period.key, "county": item.county,
                    "due": item.due.day.isoformat() if item.due.read else None,
                    "overdue": item.overdue, "jurisdiction": item.jurisdiction,
                    "source": item.due.source,
                }
                for item in owed
            ],
            "advice": list(advice),
        })  # fmt: skip
    else:
        lines = [_registered_text(filing) for filing in filings] or ["Nothing was filed yet."]
        click.echo("\n".join([*lines, *_owed_text(owed, opened.book), *advice]))
    overtaken = any(item.standing and item.changes for item in filings)
    return OWED if owed or overtaken else DONE


def _owed_text(owed: tuple[Owed, ...], book: Book) -> list[str]:
    """Return what is owed, one line a period with its counties, and how to register it.

    The state is named where another one than the firm's home is owed a report too.
    """
    lines, home = [""] if owed else [], book.firm.home
    laws = {item.jurisdiction: book.jurisdiction(item.jurisdiction) for item in owed}
    states = {
        key: f", {law.title if law else key}" for key, law in laws.items() if {*laws} - {home}
    }
    for (period, state, due), items in groupby(
        owed, key=lambda item: (item.period, item.jurisdiction, item.due)
    ):
        group = list(items)
        standing = "OVERDUE" if group[0].overdue else "owed"
        counties = ", ".join(item.county for item in group if item.county)
        place = states.get(state, "") + (f" for {counties}" if counties else "")
        lines.append(filled(f"{standing}: {period.text}{place}: {due.why}", "", "    "))
    sources = sorted({item.due.source for item in owed})
    lines += [filled(f"by {source}", "", "    ") for source in sources]
    if owed:
        first = owed[0]
        whose = f" --jurisdiction {first.jurisdiction}" if first.jurisdiction != home else ""
        lines.append(f"Register one as filed: useledger file {first.period.key}{whose} --by PERSON")
    return lines


def _registered_json(item: Registered) -> dict[str, Any]:
    body = item.entry.body
    return {
        "entry": item.entry.seq, "period": body["period"], "county": body["county"],
        "jurisdiction": body["jurisdiction"], "form": body["form"], "filed_on": body["filed_on"],
        "how": body["how"], "posted": body.get("posted"), "by": item.entry.by,
        "due": body["due"], "late": body["late"],
        "nil": bool(body["nil"]), "report": body["report"], "copies": dict(body["copies"]),
        "standing": item.standing, "overtaken": bool(item.changes) and item.standing,
        "changes": [change.text for change in item.changes],
    }  # fmt: skip


def _registered_text(item: Registered) -> str:
    body = item.entry.body
    late = " LATE" if body["late"] else ""
    nil = " no use" if body["nil"] else ""
    replaced = "" if item.standing else " (replaced by a newer filing)"
    stamp = f", postmark {body['posted']}" if body.get("posted") else ""
    due = f"due {body['due']}" if body["due"] else "due day not read"
    where = " ".join(filter(None, (body["period"], body["county"])))
    first = (
        f"entry {item.entry.seq}: {where}{nil} ({body['form']}): filed {body['filed_on']} "
        f"{body['how']}{stamp} by {item.entry.by}, {due}{late}{replaced}"
    )
    lines = [first]
    if item.changes and item.standing:
        lines.append("    overtaken: entries were mended since; an amended report would say")
        lines += [f"      {change.text}" for change in item.changes]
    return "\n".join(lines)
