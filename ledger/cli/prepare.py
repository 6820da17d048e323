"""Before the job: may this be done here, how much, how is it mixed, when again."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    fault_json,
    print_json,
    say_error,
    shared,
    staged,
    stop,
)  # fmt: skip
from ledger.flow.workspace import Workspace, open_workspace
from ledger.preparing.wish import AGAIN
from ledger.values.finding import Fault, render_fault

if TYPE_CHECKING:
    from reports.plan import Page

_JOB = (
    ("--at", "at", "The site: its key, or its address: \"118 Tollhouse Lane, Auburn, CA 95603\"."),
    ("--county", "county", "County of an address that the ledger does not know."),
    ("--site-kind", "site kind", "dwelling, school ... of a new address."),
    ("--applicator", "applicator", "Key or licence number of who will do it."),
    ("--supervisor", "supervisor", "Key or licence number of who supervises."),
    ("--method", "method", "crack and crevice, void, spot, band, broadcast, bait, space."),
    ("--setting", "setting", "indoor, at structure, outdoor."),
    ("--places", "places", "Where, parted by ;"),
    ("--pests", "pests", "Against what, parted by ;"),
    ("--extent", "extent", "How much there is to treat: \"120 ft\", \"6 voids\", \"360 sq ft\"."),
    ("--equipment", "equipment", "Key of the tool."),
    ("--date", "date", "Day of the job (today)."),
    ("--start", "start", "Time of the job, HH:MM."),
    ("--end", "end", "End of the job, HH:MM."),
    ("--amount", "amount", "An amount to ask about; without it, the most is told."),
    ("--basis", "basis", "Whether that is product or mix."),
    ("--dilution", "dilution", "Strength of the mix, as \"1 fl oz/gal\" (else the label's least)."),
    ("--mix", "mix", "Name of the tank, where products share one (tank, with --with)."),
    ("--lot", "lot", "Lot of the container, which says which label version it carries."),
    ("--avoided", "avoided", "Places left alone, as a day sheet says it, or \"none present\"."),
    ("--prepared", "prepared", "What is prepared besides what the rules ask for."),
    ("--temperature", "temperature", "As \"50 F\"."),
    ("--wind", "wind", "As \"6 mph NW\"."),
    ("--rain", "rain", "no or yes."),
    ("--notice", "notice", "before, after or both (before, where the law asks for it)."),
    ("--customer", "customer", "For whom (else as last recorded at the site)."),
    ("--customer-address", "customer address", "Where they are, if not at the site."),
)  # fmt: skip
"""The options of a job: flag, heading of the day sheet, help."""

T = TypeVar("T")

_KEY = re.compile(r"[Ss]\d+")
_LAST_LINE = re.compile(r"(?P<state>[A-Za-z]{2})\.?\s+(?P<zip>\d{5}(?:-\d{4})?)")


def job_options(function: Callable[..., T]) -> Callable[..., T]:
    """Give a command the options that describe a job, by the headings of a day sheet."""
    for flag, heading, text in reversed(_JOB):
        option = click.option(flag, heading.replace(" ", "_"), default="", help=text)
        function = option(function)
    return function


def job_cells(product: str, said: dict[str, str]) -> dict[str, str]:
    """Return a job's options by the headings of a day sheet."""
    cells = {name.replace("_", " "): text for name, text in said.items() if name != "at"}
    return {**cells, "product": product, **where(said.get("at", ""))}


def where(text: str) -> dict[str, str]:
    """Return a site key or an address in one line, as the columns of a day sheet.

    ``street, unit, city, CA 95603`` with or without the unit; stops where it is neither.
    """
    if _KEY.fullmatch(text.strip()):
        return {"site": text.strip()}
    parts = [part.strip() for part in text.split(",")]
    last = _LAST_LINE.fullmatch(parts[-1])
    if last is None or len(parts) not in {3, 4}:
        stop(
            f'--at: "{text}" is neither a site key nor an address; write it as S0003 or as'
            ' "118 Tollhouse Lane, Auburn, CA 95603" (`useledger sites` lists the keys)'
        )
    return {
        "address": parts[0], "unit": parts[1] if len(parts) == 4 else "", "city": parts[-2],
        "state": last["state"].upper(), "zip": last["zip"],
    }  # fmt: skip


again_option = click.option(
    "--again", is_flag=True, help="The same work as last time here, where not said."
)
with_option = click.option(
    "--with",
    "others",
    multiple=True,
    metavar="PRODUCT",
    help='Another product of the same tank, as "cedar-ec at 0.5 fl oz/gal"; may be repeated.',
)
"""What says of a command's PRODUCT that it is not alone in its tank."""


def tank_jobs(job: dict[str, str], others: tuple[str, ...]) -> list[dict[str, str]]:
    """Return a job and those of the products that share its tank, as said of ``--with``."""
    return [job, *({**job, **tank_mate(text)} for text in others)]


@click.command("prepare")
@click.argument("product")
@job_options
@with_option
@again_option
@click.option("--out", type=click.Path(path_type=Path), help="Write a page for the truck (.pdf).")
@shared
def prepare_command(
    product: str,
    others: tuple[str, ...],
    out: Path | None,
    workspace: str | None,
    as_json: bool,
    **said: str,
) -> int:
    """Before the job: may I, how much, how, when again.

    Say before the job whether and how PRODUCT may be used; book nothing.

    \b
    PRODUCT is a registration number or the id of a label file. What the records of a known site
    answer (customer, kind, county) need not be said. Example:
      useledger prepare ridgeline-dust --at S0001 --applicator renner \\
        --method "crack and crevice" --setting "at structure" \\
        --places "door frame; siding seam" --pests ants --extent "180 ft"
    The same work as last time at that site, its rooms, pests and extent; what was done about
    moving air, people or the weather is asked anew. Example:
      useledger prepare ridgeline-dust --at S0001 --applicator renner --again
    Several products in one tank: the amount is then the finished mix, each label binds the whole
    tank, and an active ingredient that products share is added up. Example:
      useledger prepare ridgeline-sc --dilution "0.4 fl oz/gal" \\
        --with "cedar-ec at 0.5 fl oz/gal" --with "alder-igr lot 7" --at S0001 ...
    Exit code 0: allowed, 1: something is refused or cannot be told, 2: could not do it.
    """
    if out is not None and out.suffix.casefold() != ".pdf":
        stop(f"{out}: name a file that ends in .pdf")
    opened = open_workspace(workspace)
    again = "yes" if said.pop("again") else ""
    job = job_cells(product, said) | {AGAIN: again}
    made = _tank(opened, job, others) if others else _alone(opened, job)
    if not isinstance(made, _Told):
        return cannot_read(made, as_json=as_json)
    from reports.plan import plan_sheet, plan_text

    if out is not None:
        from reports.pdf import document

        with staged({out: document([plan_sheet(made.page)], opened.book.firm.name)}):
            pass
    if as_json:
        print_json(made.values)
    else:
        click.echo(plan_text(made.page))
    return DONE if made.values["allowed"] else OWED


@dataclass(frozen=True, slots=True)
class _Told:
    """A plan, of one product or of a tank, ready to be shown."""

    page: Page
    values: dict[str, Any]


def _alone(opened: Workspace, job: dict[str, str]) -> _Told | tuple[Fault, ...]:
    from ledger.flow.preparing import Prepared, prepare
    from ledger.preparing.plan import label_line
    from reports.plan import page_of, plan_values

    found = prepare(opened, job)
    if not isinstance(found, Prepared):
        return found
    label = label_line(found.stage, found.plan)
    return _Told(page_of(found.plan, label), plan_values(found.plan, label))


def _tank(
    opened: Workspace, job: dict[str, str], others: tuple[str, ...]
) -> _Told | tuple[Fault, ...]:
    from ledger.flow.preparing import PreparedTank, prepare_tank
    from ledger.preparing.plan import label_line
    from reports.tank import tank_page, tank_values

    found = prepare_tank(opened, tank_jobs(job, others))
    if not isinstance(found, PreparedTank):
        return found
    pairs = zip(found.stages, found.tank.plans, strict=True)
    labels = [label_line(stage, plan) for stage, plan in pairs]
    return _Told(tank_page(found.tank, labels), tank_values(found.tank, labels))


_MATE = re.compile(
    r"(?P<product>\S.*?)(?:\s+at\s+(?P<dilution>\S.*?))?(?:,?\s+lot\s+(?P<lot>\S.*?))?\s*"
)


def tank_mate(text: str) -> dict[str, str]:
    """Return what ``--with`` says of a product, by the headings of a day sheet."""
    found = _MATE.fullmatch(text.strip())
    if found is None:
        stop('--with: name a product, as "cedar-ec at 0.5 fl oz/gal" or "cedar-ec lot 7"')
    return {name: found[name] or "" for name in ("product", "dilution", "lot")}


def cannot_read(faults: tuple[Fault, ...], *, as_json: bool) -> int:
    """Say why a job cannot be understood at all; return the exit code."""
    if as_json:
        print_json({"verdict": None, "faults": [fault_json(fault) for fault in faults]})
    for fault in faults:
        say_error(render_fault(fault))
    return COULD_NOT
