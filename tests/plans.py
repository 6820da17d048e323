"""Plans for tests: the shipped rules, the invented firm, and a history that a test gives."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from ledger.checks.judge import judge
from ledger.intake import read_sheet
from ledger.normalise.line import normalise_line
from ledger.preparing.plan import Plan, make_plan
from ledger.preparing.stage import Stage
from ledger.rulebook.book import Book
from ledger.values.draft import APPLICATION_HEADINGS
from ledger.values.entry import Application
from ledger.values.finding import Finding
from tests.cases import SITES, book, case

JOB: dict[str, str] = {
    "date": "2026-01-14", "start": "08:05", "end": "09:20", "applicator": "renner",
    "customer": "M. Okafor", "site": "S0001", "method": "void", "setting": "indoor",
    "places": "wall void", "avoided": "none present", "pests": "ants",
}  # fmt: skip
"""A job without product, amount and extent."""


def stage(
    cells: dict[str, str], history: Sequence[Application] = (), rules: Book | None = None
) -> Stage:
    """Return what a plan of that job is made on, at the site of the samples."""
    rules = rules or book()
    return Stage(rules, rules.lexicon(), lambda _: SITES["okafor"], lambda _: history, cells)


def plan(history: Sequence[Application] = (), rules: Book | None = None, **said: str) -> Plan:
    """Return the plan of a job that says only how it differs from ``JOB``."""
    cells = JOB | {name.replace("_", " "): text for name, text in said.items()}
    found = make_plan(stage(cells, history, rules))
    assert isinstance(found, Plan), found
    return found


def as_written(cells: dict[str, str], made: Plan, amount: str = "") -> dict[str, str]:
    """Return the line of a day sheet that a person writes who did what the plan says."""
    use = made.use
    return {
        **cells,
        "prepared": "; ".join(use.prepared) or cells.get("prepared", ""),
        "notice": use.notice,
        "amount": amount or use.amount.text,
        "basis": str(use.amount.basis),
        "dilution": use.dilution.text if use.dilution else "",
    }


def recorded(line: dict[str, str], history: Sequence[Application] = ()) -> tuple[Finding, ...]:
    """Return the findings of a line as ``record`` would find them: from a sheet's bytes on."""
    out = io.StringIO()
    writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", extrasaction="ignore")
    writer.writeheader()
    writer.writerow(line)
    (draft,) = read_sheet("day.csv", out.getvalue().encode(), month_first=True).drafts
    read = normalise_line(draft, book().lexicon(), book().units, lambda _: SITES["okafor"])
    assert read.application is not None, read.faults
    return judge(case(read.application, *history), book())


def texts(made: Plan, section: str) -> list[str]:
    """Return the statements of a section."""
    return [item.text for name, items in made.sections if name == section for item in items]


def kinds(findings: Sequence[Finding], *wanted: Any) -> set[str]:
    """Return the names of the findings of these kinds."""
    return {found.name for found in findings if found.kind in wanted}
