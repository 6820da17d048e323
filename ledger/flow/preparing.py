"""Before the job: a plan made with the workspace's rules and what the ledger knows of the site."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ledger.flow.judging import booked
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.preparing.plan import Plan, make_plan
from ledger.preparing.stage import Stage
from ledger.preparing.tank import Tank, make_tank
from ledger.values.entry import Application
from ledger.values.finding import Fault


def stages_for(
    workspace: Workspace, reader: Reader, jobs: Iterable[Mapping[str, str]]
) -> tuple[Stage, ...]:
    """Return what plans of one visit are made on, a stage for each job. The ledger is only read: a
    site that it does not know is taken as new, the same for all jobs, and forgotten."""

    def uses_at(site: str) -> tuple[Application, ...]:
        return tuple(booked(entry).use for entry in reader.at_site(site))

    lexicon, sites = workspace.book.lexicon(), SiteBook(reader)
    today = workspace.today().isoformat()
    return tuple(
        Stage(
            workspace.book, lexicon, sites.find, uses_at,
            {**cells, "date": cells.get("date") or today}, known_at=sites.known,
        )
        for cells in jobs
    )  # fmt: skip


@dataclass(frozen=True)
class Prepared:
    """A plan and the stage on which it was made."""

    plan: Plan
    stage: Stage


def prepare(workspace: Workspace, cells: Mapping[str, str]) -> Prepared | tuple[Fault, ...]:
    """Return the plan of a job with the stage it stands on, or why the wish cannot be read.

    ``cells`` is the job by the headings of a day sheet; a blank date is today.
    """
    with workspace.store.reading() as reader:
        (stage,) = stages_for(workspace, reader, (cells,))
        plan = make_plan(stage)
    return Prepared(plan, stage) if isinstance(plan, Plan) else plan


@dataclass(frozen=True)
class PreparedTank:
    """The plan of a tank and the stages on which it was made, one for each product."""

    tank: Tank
    stages: tuple[Stage, ...]


def prepare_tank(
    workspace: Workspace, jobs: Sequence[Mapping[str, str]]
) -> PreparedTank | tuple[Fault, ...]:
    """Return the plan of several products in one tank, or why the wishes cannot be read.

    ``jobs`` are the lines of the tank, one for each product, by the headings of a day sheet.
    """
    with workspace.store.reading() as reader:
        stages = stages_for(workspace, reader, jobs)
        tank = make_tank(stages)
    return PreparedTank(tank, stages) if isinstance(tank, Tank) else tank
