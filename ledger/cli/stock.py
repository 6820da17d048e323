"""Stock: receive, move, count, dispose, and the account."""

from __future__ import annotations

import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from ledger.cli.common import DONE, OWED, guarded, print_json, read_day, shared, stop
from ledger.flow.workspace import open_workspace


@click.group("stock", invoke_without_command=True)
@click.option("--lots", is_flag=True, help="An account for each lot.")
@click.option("--tolerance", metavar="SHARE", default="2", help="Per cent a count may differ by.")
@click.option("--out", type=click.Path(path_type=Path), help="Write .xlsx, .csv or .pdf instead.")
@click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
@click.option("--workspace", metavar="DIR", help="The workspace.")
@click.pass_context
def stock_command(ctx: click.Context, /, **said: Any) -> None:  # noqa: ANN401 - click's options
    """The stock account; receive, move, count, dispose.

    The stock account: bought - used - disposed = on hand, per product and place.

    \b
    A place is the store, a vehicle (named like the person who drives it) or a tool. Use comes from
    the records. Exit code 1 when something does not add up. Examples:
      useledger stock
      useledger stock receive ridgeline-dust "5 lb" --lot RD-7 --on 2026-01-02 --by calloway
      useledger stock move ridgeline-dust "8 oz" --from store --to renner --by renner
      useledger stock count ridgeline-dust "4 lb 2 oz" --at store --by calloway
      useledger stock dispose ridgeline-dust "1 oz" --how "county waste day" --by calloway
    """
    if ctx.invoked_subcommand is None:
        sys.exit(guarded(_account, **said))


def _account(
    *, lots: bool, tolerance: str, out: Path | None, as_json: bool, workspace: str | None
) -> int:
    from ledger.cli.papers import file_bytes, sheet_text
    from ledger.flow.stocking import stock_account
    from reports.stock import stock_sheet, stock_values, wrong_with

    opened = open_workspace(workspace)
    share = _share(tolerance)
    rows = stock_account(opened, share, by_lot=lots)
    wrong = [row for row in rows if wrong_with(row)]
    names = {product.key: product.name for product in opened.book.lexicon().products}
    firm = opened.book.firm
    sheet = stock_sheet(rows, names, share, (("Firm", firm.name), ("On", str(opened.today()))))
    if as_json:
        print_json(stock_values(rows, share))
    elif out is not None:
        data = file_bytes([sheet], out.suffix.casefold(), firm.name)
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_bytes(data)
        click.echo(f"{out}: {len(rows)} accounts")
    else:
        click.echo(sheet_text(sheet))
    return OWED if wrong else DONE


def _share(text: str) -> Fraction:
    from ledger.numbers import read_number
    from ledger.values.origin import Origin

    value = read_number(text.strip().removesuffix("%"), Origin("--tolerance")).value
    if value is None or value > 100:
        stop(f'--tolerance: "{text}" is not a share; write per cent, as 2 or 0.5')
    return value / 100


def _options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a movement the options that all of them have."""
    for option in (
        click.option("--by", metavar="PERSON", required=True, help="Who says so."),
        click.option("--on", metavar="DATE", help="When; else today."),
        click.option("--lot", default="", help="The lot on the container; a count: else all lots."),
    ):
        function = option(function)
    return function


def _move(act: str, product: str, amount: str, said: dict[str, Any]) -> int:
    from ledger.cli.asking import product_of
    from ledger.flow.stocking import StockWish, move_stock
    from ledger.stock import Act

    opened = open_workspace(said["workspace"])
    known = product_of(opened, product)
    wish = StockWish(
        Act(act), known, amount,
        read_day(said["on"], "--on") if said["on"] else opened.today(),
        opened.require_person(said["by"]), said.get("place", "store"), said.get("to", ""),
        said["lot"], said.get("how", ""),
    )  # fmt: skip
    sealed = move_stock(opened, wish)
    if said["as_json"]:
        print_json({"entry": sealed.seq, **sealed.body})
    else:
        way = f" to {sealed.body['to']}" if sealed.body["to"] else ""
        click.echo(
            f"entry {sealed.seq}: {act} {amount} of {known.name}, {sealed.body['place']}{way}, "
            f"{sealed.body['date']}"
        )
    return DONE


@stock_command.command("receive")
@click.argument("product")
@click.argument("amount")
@click.option("--at", "place", default="store", help="Where it came to.")
@click.option("--how", default="", help="From whom, with which paper; kept apart.")
@_options
@shared
def receive_command(product: str, amount: str, **said: Any) -> int:  # noqa: ANN401 - as above
    """Record what was bought and came in."""
    return _move("receive", product, amount, said)


@stock_command.command("move")
@click.argument("product")
@click.argument("amount")
@click.option("--from", "place", default="store", help="Where it was.")
@click.option("--to", required=True, help="Where it went: a person's vehicle, a tool, the store.")
@_options
@shared
def move_command(product: str, amount: str, **said: Any) -> int:  # noqa: ANN401 - as above
    """Record what went from one place to another, the load of a tool too."""
    return _move("move", product, amount, said)


@stock_command.command("count")
@click.argument("product")
@click.argument("amount")
@click.option("--at", "place", default="store", help="Where it was counted.")
@_options
@shared
def count_command(product: str, amount: str, **said: Any) -> int:  # noqa: ANN401 - as above
    """Record what was found by counting or weighing, at the end of the day."""
    return _move("count", product, amount, said)


@stock_command.command("dispose")
@click.argument("product")
@click.argument("amount")
@click.option("--how", required=True, help="How and where; kept apart.")
@click.option("--at", "place", default="store", help="Where it was.")
@_options
@shared
def dispose_command(product: str, amount: str, **said: Any) -> int:  # noqa: ANN401 - as above
    """Record what was disposed of, as the label and the law of the place have it."""
    return _move("dispose", product, amount, said)
