"""The applicator's commands: check, record, close."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    fault_json,
    finding_json,
    name_of,
    print_json,
    read_day,
    read_file,
    say_error,
    shared,
    show_finding,
)  # fmt: skip
from ledger.cli.printing import counted, filled, progress_bar
from ledger.flow.workspace import Workspace, open_workspace, warnings_about
from ledger.values.finding import Kind, render_fault

if TYPE_CHECKING:
    from ledger.flow.booking import Outcome, Recorded
    from ledger.flow.day_stock import DayStock


@click.command("check")
@click.argument("sheets", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--advice/--no-advice", default=True, help="Show advice as well, or leave it out.")
@shared
def check_command(
    sheets: tuple[Path, ...], advice: bool, workspace: str | None, as_json: bool
) -> int:
    """Read and judge day sheets; book nothing.

    \b
    Shows what `record` would book, hold and find. Exit code 1 says that something is held or
    found, 2 that a sheet cannot be read.
    Examples:
      useledger check day.csv
      useledger check monday.xlsx tuesday.xlsx --no-advice
    """
    from ledger.flow.recording import check_sheet

    opened = open_workspace(workspace)
    results = []
    for path in sheets:
        data = read_file(path)
        with progress_bar(name_of(path)) as progress:
            results.append(check_sheet(opened, name_of(path), data, progress))
    return report(results, as_json=as_json, advice=advice, booked="would be booked")


@click.command("record")
@click.argument("sheets", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--by", metavar="PERSON", default="", help="Who hands the sheet in.")
@click.option("--advice/--no-advice", default=True, help="Show advice as well, or leave it out.")
@shared
def record_command(
    sheets: tuple[Path, ...], by: str, advice: bool, workspace: str | None, as_json: bool
) -> int:
    """Book day sheets.

    \b
    A line that cannot be read is held, never lost. Several sheets are read first; if one of them
    cannot be read, none is booked.
    Each sheet is booked whole or not at all. Handing one in again changes nothing.
    Examples:
      useledger record day.csv
      useledger record monday.xlsx tuesday.xlsx --by calloway
    """
    from ledger.flow.recording import record_sheet

    opened = open_workspace(workspace)
    _warn(opened)
    author = opened.require_person(by) if by else ""
    data = [(path, read_file(path)) for path in sheets]
    refused = _refused(opened, data) if len(data) > 1 else []
    if refused:
        return report(refused, as_json=as_json, advice=advice, booked="booked")
    results = []
    for path, content in data:
        with progress_bar(name_of(path)) as progress:
            results.append(record_sheet(opened, name_of(path), content, author, progress))
    return report(results, as_json=as_json, advice=advice, booked="booked")


def _refused(workspace: Workspace, data: list[tuple[Path, bytes]]) -> list[Recorded]:
    """Return the sheets that cannot be read: with one of them, none of several is booked."""
    from ledger.flow.booking import Recorded
    from ledger.intake import open_sheet
    from ledger.values.draft import Sheet

    sheets = [
        open_sheet(name_of(path), content, workspace.book.firm.month_first)
        for path, content in data
    ]
    return [
        Recorded(Sheet(sheet.file, sheet.digest), faults=sheet.faults, sealed=False)
        for sheet in sheets
        if sheet.faults
    ]


def _warn(workspace: Workspace) -> None:
    for note in warnings_about(workspace.root):
        click.echo(f"useledger: warning: {note}", err=True)
    for fault in workspace.book.faults:
        click.echo(f"useledger: warning: {render_fault(fault)}", err=True)


def report(results: list[Recorded], *, as_json: bool, advice: bool, booked: str) -> int:
    """Print what became of each sheet; return the exit code.

    A sheet that could not be read is told on standard error: it is no result.
    """
    if as_json:
        print_json([recorded_json(result) for result in results])
    else:
        for result in results:
            if result.faults:
                say_refused(result)
        shown = [recorded_text(result, advice, booked) for result in results if not result.faults]
        if shown:
            click.echo("\n\n".join(shown))
    return max(exit_code(result) for result in results)


def exit_code(result: Recorded) -> int:
    """Return 2 for a sheet that could not be read, 1 for one with something held or found."""
    if result.faults:
        return COULD_NOT
    owed = any(
        outcome.line.state == "held"
        or any(finding.kind is not Kind.ADVICE for finding in outcome.findings)
        for outcome in result.outcomes
    )
    return OWED if owed else DONE


def say_refused(result: Recorded) -> None:
    """Say on standard error why a sheet could not be read."""
    for fault in result.faults:
        click.echo(render_fault(fault), err=True)
    say_error(f"{result.sheet.file} cannot be read; nothing was recorded")


def recorded_json(result: Recorded) -> dict[str, Any]:
    """Return what became of a sheet as plain values; of a long one the lines with something to
    say, and ``every_line`` false."""
    return {
        "file": result.sheet.file, "digest": result.sheet.digest,
        "refused": [fault_json(fault) for fault in result.faults],
        "booked": result.count("booked"), "held": result.count("held"),
        "taken": result.count("taken"), "observations": result.observations,
        "judged_again": result.judged_again, "every_line": result.counts is None,
        "lines": [
            {
                "row": outcome.line.draft.origin.row, "line": outcome.line.draft.text("line"),
                "state": outcome.line.state, "entry": outcome.seq,
                "faults": [fault_json(fault) for fault in outcome.line.faults],
                "findings": [finding_json(finding) for finding in outcome.findings],
            }
            for outcome in result.outcomes
        ],
    }  # fmt: skip


def recorded_text(result: Recorded, advice: bool, booked: str) -> str:
    """Return what became of a sheet that could be read, as a person reads it."""
    lines = [*result.sheet.remarks]
    for outcome in result.outcomes:
        lines += outcome_lines(outcome, advice)
    parts = [f"{counted(result.count('booked'), 'line')} {booked}"]
    if result.count("held"):
        parts.append(f"{result.count('held')} held")
    if result.count("taken"):
        parts.append(f"{result.count('taken')} booked before")
    if result.observations:
        parts.append(f"{counted(result.observations, 'observation')} {booked}")
    if result.observations_taken:
        parts.append(f"{counted(result.observations_taken, 'observation')} booked before")
    if result.judged_again:
        again = counted(result.judged_again, "earlier entry", "earlier entries")
        parts.append(f"{again} judged again")
    lines.append(f"{result.sheet.file}: " + ", ".join(parts) + _found(result))
    if result.count("held") and result.sealed:
        lines.append("Held lines wait in `useledger held`; the day closes when they are cleared.")
    return "\n".join(lines)


def _found(result: Recorded) -> str:
    """Return how many findings of each kind there are, in words; advice is not counted."""
    findings = [finding.kind for outcome in result.outcomes for finding in outcome.findings]
    tally = [
        counted(findings.count(kind), one, many)
        for kind, one, many in (
            (Kind.BREACH, "breach", "breaches"), (Kind.MISSING, "thing missing", "things missing"),
            (Kind.UNKNOWN, "thing that cannot be told", "things that cannot be told"),
        )
        if kind in findings
    ]  # fmt: skip
    return f"; found: {', '.join(tally)}" if tally else ""


def outcome_lines(outcome: Outcome, advice: bool) -> list[str]:
    """Return one line's faults or findings, each on a line of its own."""
    origin = outcome.line.draft.origin
    where = origin.place()
    if outcome.line.state == "held":
        number = f" (held {outcome.seq})" if outcome.seq else ""
        return [render_fault(fault) + number for fault in outcome.line.faults]
    shown = [finding for finding in outcome.findings if advice or finding.kind is not Kind.ADVICE]
    place = f"{where} (entry {outcome.seq})" if outcome.seq else where
    lines = [show_finding(finding, place) for finding in shown]
    if outcome.line.clears is not None:
        lines.insert(0, f"{place}: clears held line {outcome.line.clears}")
    return lines


_TALLY = (
    ("applications", "application", ""), ("late", "late", "late"),
    ("breach", "breach", "breaches"), ("missing", "thing missing", "things missing"),
    ("unknown", "thing that cannot be told", "things that cannot be told"),
    ("advice", "piece of advice", "pieces of advice"),
)  # fmt: skip


def _tally(counts: dict[str, int]) -> str:
    """Return a day's counts in words; what there is none of is left out."""
    return ", ".join(
        counted(counts[name], one, many) for name, one, many in _TALLY if counts.get(name)
    )


@click.command("close")
@click.argument("day", metavar="DATE")
@click.option("--applicator", metavar="PERSON", help="Only this person's day.")
@click.option("--by", metavar="PERSON", required=True, help="Who closes the day.")
@shared
def close_command(
    day: str, applicator: str | None, by: str, workspace: str | None, as_json: bool
) -> int:
    """Close a day and print its seal code.

    \b
    A day does not close while a line is held or an answer is owed. Breaches and what cannot be
    told do not stop it. What the tools were weighed at and loaded with is held against the lines,
    what was counted against the stock account; differences of more than 2 % are sealed with the
    close, and the exit code is 1. Keep the seal code outside the ledger: on paper, in an e-mail.
    Example:
      useledger close 2026-01-14 --by calloway
    """
    from ledger.flow.closing import close_day

    opened = open_workspace(workspace)
    person = opened.require_person(by)
    whose = opened.require_person(applicator, "--applicator") if applicator else None
    done = close_day(opened, read_day(day), whose, person)
    if as_json:
        print_json({
            "day": done.day.isoformat(), "applicator": done.applicator, "closed": bool(done.entry),
            "entry": done.entry.seq if done.entry else None, "seal_code": done.code,
            "counts": done.counts,
            "stock": done.stock.body() if done.stock else None,
            "waits_for": [
                {"what": item.what, "way_out": item.way_out} for item in done.obstacles
            ],
        })  # fmt: skip
    elif done.obstacles:
        click.echo(f"{day} does not close yet. It waits for:")
        for item in done.obstacles:
            click.echo(f"  {item.what}\n      {item.way_out}")
    else:
        already = " was closed before, nothing has changed since" if done.again else " is closed"
        click.echo(f"{day}{already}: {_tally(done.counts or {})}")
        _say_stock(done.stock)
        click.echo(f"seal code  {done.code}")
        click.echo(
            "Keep this code outside the ledger: it shows later whether anything was altered."
        )
    return OWED if done.obstacles or (done.stock and done.stock.gaps) else DONE


def _say_stock(stock: DayStock | None) -> None:
    """Say what the day's weighings, loads and counts do not agree with."""
    if stock is None or not stock.checked:
        return
    if not stock.gaps:
        click.echo("What was weighed, loaded or counted agrees with the lines within 2 %.")
        return
    click.echo("What was weighed, loaded or counted does not agree (sealed with the close):")
    for gap in stock.gaps:
        click.echo(filled(gap.text, "  ", "      "))
    click.echo(
        "Record what is missing (useledger stock move), amend the line, or answer the audit."
    )
