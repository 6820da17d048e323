"""The customer's paper before the job: made from the plan, sealed when it is handed out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from ledger.checks.case import Case
from ledger.flow.places import site_entry
from ledger.flow.preparing import stages_for
from ledger.flow.workspace import Workspace, seal_rules
from ledger.journal import Reader
from ledger.notice import Extra, Notice, notice_before
from ledger.preparing.plan import Plan, make_plan
from ledger.preparing.rules_here import of_shape, preparation, rules_over
from ledger.preparing.stage import Said, Stage
from ledger.preparing.tank import Tank, make_tank
from ledger.seal import seal_code
from ledger.values.finding import Fault
from ledger.values.lexicon import fold
from ledger.values.sealed import EntryKind, NewEntry, Sealed


@dataclass(frozen=True)
class Noticed:
    """A notice with the plans behind it, one for each product; sealed, its entry and its page.

    ``refused`` is what the plans refuse and ``open`` what they cannot tell, products of one tank
    taken together.
    """

    notice: Notice
    plans: tuple[Plan, ...]
    refused: tuple[Said, ...] = ()
    open: tuple[Said, ...] = ()
    entry: Sealed | None = None
    page: bytes = b""


Jobs = Sequence[Mapping[str, str]]
"""The planned lines of one visit, each by the headings of a day sheet.

Lines with the same mark under ``mix`` share a tank and are judged together.
"""


def plan_notice(workspace: Workspace, jobs: Jobs, extra: Extra) -> Noticed | tuple[Fault, ...]:
    """Return the paper for these jobs, or why they cannot be read; nothing is recorded."""
    with workspace.store.reading() as reader:
        return _noticed(workspace, reader, jobs, extra)


def _noticed(
    workspace: Workspace, reader: Reader, jobs: Jobs, extra: Extra
) -> Noticed | tuple[Fault, ...]:
    plans: list[Plan] = []
    cases: list[Case] = []
    faults: list[Fault] = []
    said: list[Plan | Tank] = []
    for stages in _tanks(stages_for(workspace, reader, jobs)):
        made = make_plan(stages[0]) if len(stages) == 1 else make_tank(stages)
        if isinstance(made, tuple):
            faults += made
            continue
        said.append(made)
        for stage, plan in zip(stages, (made,) if isinstance(made, Plan) else made.plans,
                               strict=True):  # fmt: skip
            plans.append(plan)
            cases.append(stage.case(plan.use))
            extra = _told_by(stage, plan, extra)
    if faults or not plans:
        return tuple(dict.fromkeys(faults))
    refused, open_ = (
        tuple(dict.fromkeys(item for one in said for item in getattr(one, name)))
        for name in ("refused", "open")
    )
    return Noticed(notice_before(workspace.book, cases, extra), tuple(plans), refused, open_)


def _tanks(stages: Sequence[Stage]) -> Iterator[tuple[Stage, ...]]:
    """Yield the lines that share a tank, by their mark, and every other line by itself."""
    tanks: dict[str | int, list[Stage]] = {}
    for at, stage in enumerate(stages):
        tanks.setdefault(fold(stage.cells.get("mix", "")) or at, []).append(stage)
    yield from map(tuple, tanks.values())


def _told_by(stage: Stage, plan: Plan, extra: Extra) -> Extra:
    """Return what the label asks of the people of the house, added to what is known."""
    rules = rules_over(stage, plan.use)
    before = tuple(item.text.partition(" (prepared:")[0] for item in preparation(rules))
    back = tuple(f"{plan.product.name}: {here.said.text}" for here in of_shape(rules, "reentry"))
    return replace(
        extra,
        precautions=tuple(dict.fromkeys((*extra.precautions, *before))),
        reentry=tuple(dict.fromkeys((*extra.reentry, *back))),
    )


def give_notice(
    workspace: Workspace,
    jobs: Jobs,
    extra: Extra,
    printed: Callable[[Noticed, str], bytes],
    by: str,
) -> Noticed | tuple[Fault, ...]:
    """Make the paper and seal that it was handed out, with the page itself kept by digest.

    ``printed`` makes the page of the notice and the ledger's seal code of that moment, which the
    page carries: a witness outside of the ledger. A site that the ledger does not know is made.
    """
    with workspace.store.writing() as writer:
        made = _noticed(workspace, writer, jobs, extra)
        if not isinstance(made, Noticed):
            return made
        use, site = made.plans[0].use, made.plans[0].site
        seal_rules(writer, workspace.book)
        if writer.site(site.key) is None:
            writer.append(site_entry(site, by=by))
        page = printed(made, seal_code(writer.head.seal))
        body = {
            "when": "before", "date": use.date.isoformat(), "site": site.key,
            "jurisdiction": use.jurisdiction, "county": use.county, "applicator": use.applicator,
            "products": list(dict.fromkeys(plan.use.product_key for plan in made.plans)),
            "pests": list(dict.fromkeys(pest for plan in made.plans for pest in plan.use.pests)),
            "papers": [f"{due.ref.file}/{due.name}" for due in made.notice.due],
            "lacking": list(made.notice.lacking), "page": writer.keep("notice", page),
            "rules": workspace.book.digest,
        }  # fmt: skip
        private = json.dumps({"customer": use.customer}, ensure_ascii=True, sort_keys=True)
        entry = writer.append(NewEntry(EntryKind.NOTICE, body, private=private, by=by))
        return replace(made, entry=entry, page=page)
