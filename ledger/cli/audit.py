"""The inspector's first command: audit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, OWED, print_json, read_day, shared, staged, stop
from ledger.flow.workspace import open_workspace

if TYPE_CHECKING:
    from ledger.audit import Item
    from ledger.flow.audit_scope import Scope
    from ledger.flow.auditing import Audit
    from ledger.flow.workspace import Workspace
    from reports.audit import Head
    from reports.sheet import Sheet


@click.command("audit")
@click.argument("period", required=False)
@click.option("--from", "date_from", metavar="DATE", help="First day of work.")
@click.option("--to", "date_to", metavar="DATE", help="Last day of work.")
@click.option("--person", metavar="PERSON", help="Only what this person applied.")
@click.option("--product", metavar="P", help="A product by registration number or label id.")
@click.option("--site", metavar="KEY", help="A site by its key, or part of its street.")
@click.option("--advice", is_flag=True, help="List advice as well, not only its number.")
@click.option("--by", metavar="PERSON", help="Seal this audit as done by that person.")
@click.option("--out", type=click.Path(path_type=Path), help="Write .xlsx, .pdf or .csv instead.")
@shared
def audit_command(
    period: str | None, workspace: str | None, as_json: bool, out: Path | None, advice: bool,
    **said: str | None,
) -> int:  # fmt: skip
    """Judge everything again; what is missing, late or owed.

    Look at the ledger as an inspector would: everything judged again, what is missing or owed.

    \b
    PERIOD is a month (2026-01) or a year; without it everything is audited. Nothing is written
    unless --by says who audits: then digest and figures are sealed, and the next audit of the
    same scope shows what has changed. Exit code 1 when something is owed. Examples:
      useledger audit 2026-01
      useledger audit --site S0003 --advice
      useledger audit 2026 --by calloway --out audit.pdf
    """
    from ledger.flow.auditing import audit, seal_audit

    opened = open_workspace(workspace)
    by = opened.require_person(said["by"]) if said["by"] else None
    if out is not None and out.suffix.casefold() not in {".xlsx", ".pdf", ".csv"}:
        stop(f'"{out.suffix}" is no kind of paper; name a file that ends in .xlsx, .pdf or .csv')
    done = audit(opened, _scope(opened, period, said))
    paper = {out: _paper(opened, done, out)} if out is not None and not as_json else {}
    with staged(paper):  # what cannot be written is known before anything is sealed
        sealed = seal_audit(opened, done, by) if by else None
    if as_json:
        print_json(_values(done, sealed.seq if sealed else None))
    elif out is not None:
        click.echo(f"{out}: {len(done.items)} findings, {len(done.owed)} owed")
    else:
        click.echo(_text(opened, done, advice=advice))
    if sealed is not None and not as_json:
        click.echo(f"sealed as entry {sealed.seq}, digest of the findings {done.digest}")
    return OWED if done.owed else DONE


def _scope(opened: Workspace, period: str | None, said: dict[str, str | None]) -> Scope:
    from ledger.cli.asking import person_of, product_of, site_of
    from ledger.flow.audit_scope import Scope
    from ledger.values.period import read_period

    first = read_day(said["date_from"], "--from") if said["date_from"] else None
    last = read_day(said["date_to"], "--to") if said["date_to"] else None
    if period is not None:
        read = read_period(period)
        if read is None:
            stop(f'"{period}" is not a period; write a month as 2026-01 or a year as 2026')
        if first or last:
            stop("give a period, or --from and --to, not both")
        first, last = read.first, read.last
    return Scope(
        first, last,
        person_of(opened, said["person"], "--person") if said["person"] else None,
        site_of(opened, said["site"]) if said["site"] else None,
        product_of(opened, said["product"]).key if said["product"] else None,
    )  # fmt: skip


def _head(opened: Workspace, done: Audit) -> Head:
    from reports.audit import Head

    firm = opened.book.firm
    return Head(firm.name, firm.licence, done.scope.text, opened.today())


def _sheets(opened: Workspace, done: Audit) -> tuple[Sheet, ...]:
    from reports.audit import audit_sheets

    return audit_sheets(
        _head(opened, done), done.items, done.figures, (done.unread, done.since)
    )  # fmt: skip


def _paper(opened: Workspace, done: Audit, out: Path) -> bytes:
    """Return the audit as the file that its name asks for."""
    from ledger.cli.papers import file_bytes

    sheets = _sheets(opened, done)
    if out.suffix.casefold() == ".csv":  # one table only: every finding, open or answered
        from reports.audit import all_sheet

        sheets = (all_sheet(_head(opened, done), done.items),)
    return file_bytes(sheets, out.suffix.casefold(), opened.book.firm.name)


def _values(done: Audit, sealed: int | None) -> dict[str, Any]:
    from reports.audit import figures_values, item_values, since_values

    return {
        "scope": done.scope.body(), "digest": done.digest, "sealed": sealed,
        "figures": figures_values(done.figures),
        "findings": [item_values(item) for item in done.items],
        "not_read": [
            {"jurisdiction": part.jurisdiction, "section": part.section, "note": part.note}
            for part in done.unread
        ],
        "since": since_values(done.since),
    }  # fmt: skip


def _text(opened: Workspace, done: Audit, *, advice: bool) -> str:
    """Return an audit as a person reads it: figures, what is open, what was answered, the rest."""
    from ledger.cli.papers import sheet_text
    from reports.audit import figures_sheet, since_sheet, unread_sheet

    head = _head(opened, done)
    parts = [sheet_text(figures_sheet(head, done.figures, done.since))]
    parts += _topics([item for item in done.items if item.answer is None], advice=advice)
    answered = [item for item in done.items if item.answer is not None]
    if answered:
        parts += ["Answered by the firm", *_topics(answered, advice=True)]
    parts.append(sheet_text(unread_sheet(head, done.unread)))
    if done.since is not None:
        parts.append(sheet_text(since_sheet(head, done.since)))
    owed = len(done.owed)
    parts.append(f"{owed} owed." if owed else "Nothing is owed.")
    return "\n\n".join(parts)


def _topics(items: Sequence[Item], *, advice: bool) -> Iterator[str]:
    """Yield the items of each topic, in an inspector's order."""
    from ledger.audit import Weight, by_topic

    for topic, found in by_topic(items):
        shown = [item for item in found if advice or item.weight is not Weight.ADVICE]
        lines = [f"{topic.value}  {topic.text}", *(_line(item) for item in shown)]
        if left := len(found) - len(shown):
            lines.append(f"   {left} of advice (--advice lists them)")
        yield "\n".join(lines)


def _line(item: Item) -> str:
    from reports.audit import rule_text

    state = "answered" if item.answer else "owed" if item.owed else ""
    where = " ".join(part for part in (item.origin, item.id) if part)
    lines = [f"   {item.weight.text} {state}".rstrip() + f"  {where}", f"      {item.text}"]
    lines += [f"      rule: {rule_text(rule)}" for rule in item.rules]
    if item.note:
        lines.append(f"      {item.note}")
    if item.answer:
        said = item.answer
        lines.append(f"      answer {said.seq} ({said.by}, {said.at[:10]}): {said.because}")
        lines.append(f"      done: {said.action}")
    elif item.way_out:
        lines.append(f"      way out: {item.way_out}")
    return "\n".join(lines)
