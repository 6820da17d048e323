"""The keeper's commands about time: keep, dispose, attach."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ledger.cli.common import (
    DONE,
    MOST_OF_A_PAPER,
    OWED,
    EntryNumber,
    name_of,
    print_json,
    read_day,
    read_file,
    shared,
    stop,
)  # fmt: skip
from ledger.flow.workspace import open_workspace


@click.command("keep")
@click.option("--entry", type=EntryNumber(), help="Keep one record.")
@click.option("--site", metavar="KEY", help="Keep everything at a site.")
@click.option("--from", "date_from", metavar="DATE", help="Keep work from this day on.")
@click.option("--to", "date_to", metavar="DATE", help="Keep work up to this day.")
@click.option("--contract-ended", metavar="DATE", help="The contract at --site ended that day.")
@click.option("--end", type=EntryNumber(), metavar="ORDER", help="End this order.")
@click.option("--because", default="", help="Why (a claim, an inspection, a lawsuit).")
@click.option("--by", metavar="PERSON", default="", help="Who says so.")
@shared
def keep_command(
    workspace: str | None, as_json: bool, because: str, by: str,
    **scope: Any,  # noqa: ANN401 - numbers and texts, as click read them
) -> int:  # fmt: skip
    """Show how long records are kept; order to keep longer.

    \b
    An order stops disposal until it is ended. Where a law counts the years from the end of the
    contract or its warranty, say the day once it has ended; until then the records are kept.
    Examples:
      useledger keep
      useledger keep --contract-ended 2027-05-01 --site S0003 --by calloway
      useledger keep --site S0003 --because "claim of 14 March" --by calloway
      useledger keep --end 812 --because "claim settled" --by calloway
    """
    from ledger.flow.keep_orders import contract_ended, order_keep, release

    opened = open_workspace(workspace)
    end = scope.pop("end")
    if not by and not because and end is None and not any(scope.values()):
        return _show(opened.root, as_json=as_json)
    person = opened.require_person(by)
    ended = scope.pop("contract_ended")
    if ended is not None:
        if not scope["site"]:
            stop("--contract-ended is said of one site; add --site KEY")
        day = read_day(ended, "--contract-ended")
        done = contract_ended(opened, scope["site"], day, person)
    elif end is not None:
        done = release(opened, end, because, person)
    else:
        days = {name: read_day(str(scope[key]), f"--{name}").isoformat() if scope[key] else None
                for name, key in (("from", "date_from"), ("to", "date_to"))}  # fmt: skip
        what = {"entry": scope["entry"], "site": scope["site"], **days}
        done = order_keep(opened, what, because, person)
    if as_json:
        print_json({"entry": done.seq, "seal": done.seal})
    else:
        said = "end of contract sealed" if ended else "order ended" if end else "order sealed"
        click.echo(f"entry {done.seq}: {said}")
    return DONE


def _show(root: Path, *, as_json: bool) -> int:
    from ledger.cli.printing import table
    from ledger.flow.disposing import kept_all
    from ledger.flow.kept_papers import trainings

    opened = open_workspace(str(root))
    with opened.store.reading() as reader:
        found = (*kept_all(opened, reader), *trainings(opened, reader))
    rows = [
        {"record": item.first, "what": item.what, "date": item.day, "site": item.site,
         "until": item.until.day or "cannot tell", "rule": item.until.rule or item.until.note,
         "counted_from": item.until.counted_from, "source": item.until.source,
         "note": item.until.note, "orders": list(item.orders), "disposed": item.disposed}
        for item in found
    ]  # fmt: skip
    if as_json:
        print_json(rows)
    elif not rows:
        click.echo("No records yet.")
    else:
        headings = ("record", "what", "date", "until", "rule", "counted from", "orders")
        cells = []
        for row, item in zip(rows, found, strict=True):
            until = "disposed of" if row["disposed"] else row["until"]
            orders = ", ".join(str(seq) for seq in item.orders)
            cells.append([
                row["record"], row["what"], row["date"], until, row["rule"], row["counted_from"],
                orders,
            ])  # fmt: skip
        click.echo(table(headings, cells))
    return DONE


@click.command("dispose")
@click.option("--destroy", is_flag=True, help="Destroy what is listed; this cannot be undone.")
@click.option("--because", default="", help="Why.")
@click.option("--by", metavar="PERSON", default="", help="Who destroys it.")
@shared
def dispose_command(
    destroy: bool, because: str, by: str, workspace: str | None, as_json: bool
) -> int:
    """List, and destroy, texts that are past their day.

    With --destroy, destroy them and seal that they are gone.

    \b
    Names, addresses, notes, received sheets and attached files go, with their salts. What was
    applied, where it counts, and every seal stays: the ledger still verifies. Examples:
      useledger dispose
      useledger dispose --destroy --because "yearly disposal" --by calloway
    """
    from ledger.flow.disposing import OLD_BACKUPS, STAYS, dispose_due, plan_disposal

    opened = open_workspace(workspace)
    done: tuple[int, ...] = ()
    if by:
        opened.require_person(by)
    if destroy:
        if not by:
            stop("a disposal is the act of a person; add --by PERSON")
        plan, sealed = dispose_due(opened, because, opened.require_person(by))
        done = tuple(entry.seq for entry in sealed)
    else:
        with opened.store.reading() as reader:
            plan = plan_disposal(opened, reader, opened.today())
    if as_json:
        print_json({
            "records": [item.first for item in plan.records], "texts": list(plan.entries),
            "files": list(plan.blobs), "kept_by_order": [item.first for item in plan.held_back],
            "disposals": list(done), "old_backups": OLD_BACKUPS if done else "",
            "stays": STAYS if done else "",
        })  # fmt: skip
        return DONE if done or not plan.entries else OWED
    verb = "destroyed" if done else "past their day"
    click.echo(
        f"{len(plan.records)} records {verb}: {len(plan.entries)} private texts, "
        f"{len(plan.blobs)} kept files; {len(plan.held_back)} more are kept by an order."
    )
    if done:
        click.echo(f"Sealed as entry {', '.join(map(str, done))}. {OLD_BACKUPS}")
        click.echo(STAYS)
    return DONE if done or not plan.entries else OWED


@click.command("attach")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--to", "entry", type=EntryNumber(), required=True, metavar="ENTRY", help="What it belongs to."
)
@click.option("--by", metavar="PERSON", required=True, help="Who attaches it.")
@shared
def attach_command(file: Path, entry: int, by: str, workspace: str | None, as_json: bool) -> int:
    """Keep a file with an entry.

    A photograph, a letter, a laboratory's report.

    \b
    Example:
      useledger attach creek.jpg --to 17 --by renner
    """
    from ledger.flow.disposing import attach

    opened = open_workspace(workspace)
    data, person = read_file(file, MOST_OF_A_PAPER), opened.require_person(by)
    done = attach(opened, name_of(file), data, entry, person)
    if as_json:
        print_json({"entry": done.seq, "digest": done.body["digest"]})
    else:
        click.echo(f"entry {done.seq}: {name_of(file)} is kept with entry {entry}")
    return DONE
