"""The demonstration: an invented firm's month, booked by the same code paths as real work."""

from __future__ import annotations

import shlex
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from ledger.cli.common import DONE, print_json, stop
from ledger.demo import DemoSheet, DemoStory, Teaching, firm_file, label_files, sheets, story
from ledger.flow.booking import Recorded
from ledger.flow.closing import Closed, close_day
from ledger.flow.correcting import Corrected, amend
from ledger.flow.holding import fix_held, held_lines
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import RULES_FOLDER, Workspace, make_workspace, read_rules
from ledger.rulefile import shipped_rules
from ledger.values.finding import Finding, Kind, render_fault, render_finding
from ledger.values.period import Period, read_period
from ledger.values.sealed import Sealed

ZONE = ZoneInfo("America/Los_Angeles")


@dataclass
class DemoClock:
    """The demonstration's own clock: each sheet is handed in on the evening of its day.

    Real work has no such clock; only the code that makes the demonstration hands one in.
    """

    moment: datetime = field(default_factory=lambda: datetime(2026, 1, 2, 18, tzinfo=ZONE))

    def set(self, day: date) -> None:
        """Go on to the evening of that day."""
        self.moment = max(self.moment, datetime.combine(day, time(18), ZONE))

    def __call__(self) -> datetime:
        """Return the next moment, in UTC."""
        self.moment += timedelta(seconds=7, microseconds=31)
        return self.moment.astimezone(UTC)


@dataclass
class Shown:
    """What the demonstration has to tell."""

    booked: int = 0
    observed: list[tuple[str, Finding]] = field(default_factory=list)
    held: list[str] = field(default_factory=list)
    closes: list[Closed] = field(default_factory=list)
    amended: Corrected | None = None
    fixed: int | None = None
    trained: Sealed | None = None
    signed: list[Sealed] = field(default_factory=list)


@click.command("demo")
@click.argument("folder", default="useledger-demo", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
def demo_command(folder: Path, as_json: bool) -> None:
    """Make an invented firm's month, filed and proved.

    \b
    A workspace with a month of day sheets, booked and corrected as real ones would be. Everything
    in it is invented. Examples:
      useledger demo
      useledger demo "a folder of my own"
    """
    from ledger.cli.common import guarded

    sys.exit(guarded(run, folder, as_json=as_json))


def run(folder: Path, *, as_json: bool) -> int:
    """Make the workspace, book the month, file it, verify, and say where everything lies."""
    if folder.exists() and any(folder.iterdir()):
        stop(f"{folder} is not empty; name another folder: useledger demo DIR")
    clock = DemoClock()
    workspace = make_workspace(folder, firm_file(), clock)
    for name in label_files():
        shutil.copyfile(shipped_rules() / "labels" / name, folder / RULES_FOLDER / "labels" / name)
    workspace.book = read_rules(folder)
    plot = story()
    shown = Shown()
    for day, group in groupby(sheets(), key=lambda sheet: sheet.day):
        clock.set(day)
        book_day(workspace, folder, list(group), plot, shown)
    period = read_period(plot.period)
    assert period is not None
    clock.set(date(period.next.year, period.next.month, 9))
    papers = file_month(workspace, folder, period)
    result = verified(workspace)
    if as_json:
        print_json({
            "workspace": str(folder), "booked": shown.booked, "held": shown.held,
            "findings": [render_finding(found, where) for where, found in shown.observed],
            "amended": shown.amended.changes if shown.amended else None,
            "trained": shown.trained.seq if shown.trained else None,
            "signed_off": [entry.refers for entry in shown.signed],
            "papers": [str(path) for path in papers], "verified": result,
        })  # fmt: skip
    else:
        click.echo("\n".join(told(folder, shown, papers, result)))
    return DONE


def book_day(
    workspace: Workspace, folder: Path, day_sheets: list[DemoSheet], plot: DemoStory, shown: Shown
) -> None:
    """Hand in a day's sheets, put right what the plot says, and close the day."""
    for sheet in day_sheets:
        path = folder / "sheets" / sheet.name
        path.parent.mkdir(exist_ok=True)
        path.write_text(sheet.text, encoding="utf-8")
        done = record_sheet(workspace, sheet.name, path.read_bytes(), sheet.applicator)
        note(done, shown)
        if plot.fix.sheet == sheet.name:
            held = held_lines(workspace)
            fixed = fix_held(workspace, held[0].seq, plot.fix.changes, second=False, by=plot.fix.by)
            assert fixed.recorded is not None
            shown.fixed = fixed.recorded.outcomes[0].seq
    day = day_sheets[0].day
    teach(workspace, day, plot.teach, shown)
    shown.closes.append(close_day(workspace, day, None, "calloway"))
    for sheet in day_sheets:
        if plot.amend.sheet == sheet.name:
            seq = entry_of(workspace, day, plot.amend.line, sheet.applicator)
            shown.amended = amend(
                workspace, seq, plot.amend.changes, plot.amend.because, plot.amend.by
            )
            shown.closes.append(close_day(workspace, day, None, "calloway"))


def teach(workspace: Workspace, day: date, plot: Teaching, shown: Shown) -> None:
    """Record the training on its day, and sign the trainee's lines off on the day of the work."""
    from ledger.flow.training import TrainingWish, sign_off_day, train

    if day == plot.on:
        wish = TrainingWish(
            plot.person, day, plot.by, trainer=plot.trainer, title=plot.title, topics=plot.topics,
            signed=True,
        )  # fmt: skip
        shown.trained, _ = train(workspace, wish)
    if day == plot.work:
        shown.signed = sign_off_day(workspace, day, plot.trainer, plot.person, plot.note)


def note(done: Recorded, shown: Shown) -> None:
    """Keep what a sheet gave that is worth telling."""
    shown.booked += done.count("booked")
    for outcome in done.outcomes:
        where = outcome.line.draft.origin.place()
        if outcome.line.state == "held":
            shown.held += [render_fault(fault) for fault in outcome.line.faults]
        shown.observed += [
            (where, finding) for finding in outcome.findings if finding.kind is not Kind.ADVICE
        ]


def entry_of(workspace: Workspace, day: date, line: str, applicator: str) -> int:
    """Return the entry of a sheet's own line number on that day."""
    from ledger.flow.listing import list_entries

    filters = {"date_from": day, "date_to": day, "applicator": applicator}
    return next(row.sealed.seq for row in list_entries(workspace, filters) if row.use.line == line)


def file_month(workspace: Workspace, folder: Path, period: Period) -> list[Path]:
    """Write the month's summary per county, register it as filed, and return the papers."""
    from ledger.cli.papers import county_papers
    from ledger.flow.filing_register import FilingWish, file_report, plan_filing

    wish = FilingWish(workspace.today(), "by hand", "calloway", with_open=False)
    summary, form, _, _, counties = plan_filing(workspace, period, wish)
    copies = county_papers(workspace, summary, form, counties)
    written: list[Path] = []
    for files in copies.values():
        for name, data in files.items():
            target = folder / "reports" / name
            target.parent.mkdir(exist_ok=True)
            target.write_bytes(data)
            written.append(target)
    file_report(workspace, period, wish, copies)
    return written


def verified(workspace: Workspace) -> str:
    """Return what verify says of the ledger."""
    from ledger.flow.inspecting import prove_whole

    result = prove_whole(workspace)
    if not result.ok:
        return "NOT whole: " + "; ".join(fault.what for fault in result.problems)
    return f"whole: {result.checked} entries recomputed"


def program_name() -> str:
    """Return what a person must write to run this program again from here."""
    if shutil.which("useledger") is None and Path(sys.argv[0]).name.startswith("useledger"):
        return sys.argv[0]
    return "useledger"


def told_of_trainee(shown: Shown) -> Iterator[str]:
    """Yield the training and the lines that the supervisor signed off."""
    if shown.trained is None:
        return
    body = shown.trained.body
    yield ""
    yield "Trained, then signed off (a trainee's lines wait for the supervisor):"
    yield f"  entry {shown.trained.seq}: {body['person']} was trained on {body['date']}"
    for entry in shown.signed:
        yield f"  entry {entry.seq}: {entry.by} signs off entry {entry.refers}"


def told(folder: Path, shown: Shown, papers: list[Path], result: str) -> Iterator[str]:
    """Yield what the demonstration says at the end."""
    days = len({close.day for close in shown.closes})
    yield f"An invented firm's month is in {folder}: {shown.booked} lines booked on {days} days,"
    yield "every day closed."
    yield "(Each sheet was handed in by the demonstration's own clock, on the evening of its day.)"
    yield from told_of_trainee(shown)
    yield ""
    yield "Held, then put right:"
    yield from (f"  {text}" for text in shown.held)
    if shown.fixed is not None:
        yield f"  -> booked as entry {shown.fixed}"
    yield ""
    yield "Found (booked all the same: a true record is never refused):"
    yield from (f"  {render_finding(finding, where)}" for where, finding in shown.observed)
    if shown.amended is not None and shown.amended.entry is not None:
        yield ""
        yield "Amended (the original stays readable):"
        yield f"  entry {shown.amended.entry.seq} replaces {shown.amended.old}: " + (
            shown.amended.changes
        )
    yield ""
    yield f"Filed for January 2026, one report a county ({len(papers)} files):"
    yield from (f"  {path}" for path in papers)
    yield ""
    yield f"Verified: the ledger is {result}."
    yield f"Seal code of the last close: {shown.closes[-1].code}"
    yield ""
    yield "Try next:"
    amended = shown.amended.old if shown.amended else 1
    where = shlex.quote(str(folder))
    program = program_name()
    for command in (
        f"useledger entries --workspace {where} --from 2026-01-19 --to 2026-01-23",
        f"useledger trace {amended} --workspace {where}",
        f"useledger summary 2026-01 --workspace {where} --open 1",
        f"useledger filings --workspace {where}",
        f"useledger people --workspace {where}",
        f"useledger template day.xlsx --workspace {where}",
        f"useledger verify --workspace {where} --seal {shlex.quote(shown.closes[-1].code)}",
    ):
        yield f"  {command.replace('useledger', program, 1)}"
    yield ""
    yield "Records do not replace the label: read the label in hand and follow local law."
