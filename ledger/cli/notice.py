"""Papers for the customer: the notice before the job, and the one after it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ledger.cli.common import DONE, OWED, print_json, say_error, shared, staged, stop
from ledger.cli.prepare import (
    again_option,
    cannot_read,
    job_cells,
    job_options,
    tank_jobs,
    tank_mate,
    with_option,
)
from ledger.flow.workspace import Workspace, open_workspace
from ledger.preparing.wish import AGAIN

if TYPE_CHECKING:
    from ledger.flow.noticing import Noticed

_KINDS = (".pdf", ".html", ".txt")


@click.command("notice")
@click.argument("products", nargs=-1)
@click.option("--before", is_flag=True, help="The paper before the job, for these products.")
@click.option("--after", metavar="ENTRY", default="", help="The paper after an entry's visit.")
@click.option("--given", metavar="HOW", default="", help="After: it was given so, as by e-mail.")
@click.option("--refused", metavar="HOW", default="", help="After: the customer refused it.")
@click.option("--waived", metavar="HOW", default="", help="After: the customer waived it.")
@click.option("--consent", is_flag=True, help="After: the customer agreed to papers by e-mail.")
@job_options
@with_option
@again_option
@click.option("--frequency", default="", help="How often, where the work is under a contract.")
@click.option("--purpose", default="", help="For what, where no pest is named.")
@click.option("--by", metavar="PERSON", default="", help="Who hands it out: it is then sealed.")
@click.option("--out", type=click.Path(path_type=Path), help="Write it as .pdf, .html or .txt.")
@shared
def notice_command(
    products: tuple[str, ...],
    others: tuple[str, ...],
    out: Path | None,
    workspace: str | None,
    as_json: bool,
    **said: str,
) -> int:
    """The customer's paper that the law asks for.

    Print the paper that the customer is handed before the job.

    \b
    What it says follows from the law of the place; what nobody has read of the law stands open
    and is named. With --by it is sealed that the paper was handed out. Example:
      useledger notice --before ridgeline-dust --at S0001 --applicator renner \\
        --method void --setting indoor --places "wall void" --pests ants \\
        --customer "M. Okafor" --by renner --out notice.pdf
    Several products in one tank are judged as one, as `prepare --with` does; a further PRODUCT
    is used by itself and says its own strength. Example:
      useledger notice --before ridgeline-sc --dilution "0.4 fl oz/gal" \
        --with "cedar-ec at 0.5 fl oz/gal" --at S0001 ...
    After the job:
      useledger notice --after 17 --given "by e-mail" --consent --by renner --out notice.html
    Exit code 0: done, 1: something is lacking or the plan refused or open, 2: could not do it.
    """
    if out is not None and out.suffix.casefold() not in _KINDS:
        stop(f"{out}: name a file that ends in {', '.join(_KINDS)}")
    after = _after(said)
    if bool(said.pop("before")) == (after is not None) or bool(products) == (after is not None):
        stop("name products with --before, or an entry with --after ENTRY")
    if after is not None:
        from ledger.cli.notice_after import after_command

        if others:
            stop(
                "--with is for the paper before the job; an entry says itself what was in its tank"
            )
        return after_command(open_workspace(workspace), after, said["by"], out, as_json=as_json)
    return _before(_jobs(products, others, said), out, workspace, as_json=as_json, said=said)


def _jobs(
    products: tuple[str, ...], others: tuple[str, ...], said: dict[str, str]
) -> list[dict[str, str]]:
    """Return a planned line for each product; those of one tank carry its mark."""
    from ledger.preparing.tank import MARK

    again = {AGAIN: "yes" if said.pop(AGAIN) else ""}
    first, *more = (job_cells(product, said) | again for product in products)
    if not others:
        return [first, *more]
    first["mix"] = first["mix"] or MARK
    alone = [{**job, "mix": "", "basis": "", **tank_mate(job["product"])} for job in more]
    return [*tank_jobs(first, others), *alone]


def _after(said: dict[str, str]) -> tuple[str, dict[str, str], bool] | None:
    """Take what was said of the paper after the job out of the options; None for the other."""
    asked, consent = said.pop("after"), bool(said.pop("consent"))
    states = {name: said.pop(name) for name in ("given", "refused", "waived")}
    return (asked, states, consent) if asked else None


def _before(
    jobs: list[dict[str, str]], out: Path | None, workspace: str | None, *, as_json: bool,
    said: dict[str, str],
) -> int:  # fmt: skip
    from ledger.flow.noticing import Noticed, give_notice, plan_notice
    from ledger.notice import Extra

    frequency, purpose, by = (said.pop(name) for name in ("frequency", "purpose", "by"))
    opened = open_workspace(workspace)
    author = opened.require_person(by) if by else ""
    extra = Extra(frequency, purpose)
    suffix = out.suffix.casefold() if out else ".txt"
    if author:
        made = give_notice(
            opened, jobs, extra, lambda one, seal: page_of(opened, one, suffix, seal), author
        )
    else:
        made = plan_notice(opened, jobs, extra)
    if not isinstance(made, Noticed):
        return cannot_read(made, as_json=as_json)
    return _shown(opened, made, out, as_json=as_json)


def page_of(workspace: Workspace, made: Noticed, suffix: str, seal: str) -> bytes:
    """Return the page of a notice in the kind that the ending of the name says."""
    from reports.notice import notice_html, notice_sheet, notice_text

    if suffix == ".html":
        return notice_html(made.notice, seal).encode()
    if suffix == ".txt":
        return notice_text(made.notice, seal).encode() + b"\n"
    from reports.pdf import document

    return document([notice_sheet(made.notice, seal)], workspace.book.firm.name)


def _shown(workspace: Workspace, made: Noticed, out: Path | None, *, as_json: bool) -> int:
    """Print or write a notice, and say beside it what must still be done; return the code."""
    from reports.notice import notice_values

    refused = [item.text for item in made.refused]
    suffix = out.suffix.casefold() if out else ".txt"
    page = made.page or page_of(workspace, made, suffix, "")
    if out is not None:
        with staged({out: page}):
            pass
    if as_json:
        print_json({
            **notice_values(made.notice), "refused": refused,
            "cannot_tell": [item.text for item in made.open], "file": str(out) if out else None,
            "entry": made.entry.seq if made.entry else None,
        })  # fmt: skip
    elif out is None:
        click.echo(page.decode().rstrip())
    else:
        click.echo(f"{out} is written")
    if made.entry is not None and not as_json:
        say_error(f"sealed as entry {made.entry.seq}: handed out by {made.entry.by}")
    for text in made.notice.remarks:
        say_error(text)
    for text in made.notice.lacking:
        say_error(f"to be put in by hand: {text}")
    for text in refused:
        say_error(f"the plan behind it is refused: {text}")
    for item in made.open:
        settle = f"; {item.settle}" if item.settle else ""
        say_error(f"the plan behind it leaves open: {item.text.rstrip('.')}{settle}")
    return OWED if refused or made.open or made.notice.lacking else DONE
