"""Before the job: a plan made with the workspace's rules and what the ledger knows of the site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ledger.flow.judging import booked
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.preparing.plan import Plan, make_plan
from ledger.preparing.stage import Stage
from ledger.values.entry import Application
from ledger.values.finding import Fault


def stage_for(workspace: Workspace, reader: Reader, cells: Mapping[str, str]) -> Stage:
    """Return what a plan is made on. The ledger is only read: a site that it does not know is
    taken as new and forgotten."""

    def uses_at(site: str) -> tuple[Application, ...]:
        return tuple(booked(entry).use for entry in reader.at_site(site))

    lexicon = workspace.book.lexicon()
    return Stage(workspace.book, lexicon, SiteBook(reader).find, uses_at, cells)


@dataclass(frozen=True)
class Prepared:
    """A plan and the stage on which it was made."""

    plan: Plan
    stage: Stage


def prepare(workspace: Workspace, cells: Mapping[str, str]) -> Prepared | tuple[Fault, ...]:
    """Return the plan of a job with the stage it stands on, or why the wish cannot be read.

    ``cells`` is the job by the headings of a day sheet; a blank date is today.
    """
    wish = {**cells, "date": cells.get("date") or workspace.today().isoformat()}
    with workspace.store.reading() as reader:
        stage = stage_for(workspace, reader, wish)
        plan = make_plan(stage)
    return Prepared(plan, stage) if isinstance(plan, Plan) else plan
