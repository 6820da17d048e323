"""Setting up: init and template."""

from __future__ import annotations

from pathlib import Path

import click

from ledger.cli.common import DONE, print_json, shared, stop
from ledger.flow.workspace import FIRM_FILE, make_workspace, open_workspace, warnings_about

FIRM_TEXT = """\
# The firm, its people and its tools. `useledger rules check` says what is wrong in here.

[firm]
name = {name}
licence = {licence}
address = {address}
city = {city}
state = {state}
zip = {zip}
# telephone = "530-555-0100"
home = {home}                    # the jurisdiction of the firm: us- and the state
time_zone = {time_zone}
date_order = "month first"         # how 1/14/2026 is read: "month first" or "day first"
ratio = "1 in N"                   # what 1:100 means here: "1 in N" or "1 + N"
work = "structural"

# A larger firm keeps its ledger on a PostgreSQL server:
# database = "postgresql+psycopg://user@host/ledger"

# Where the firm is registered, county by county and year by year (California and others):
# [[registration]]
# jurisdiction = "us-ca"
# county = "Placer"
# year = 2026

# The fixed words that a law wants on the customer's paper, copied from the official text; with
# county = "..." where they name its telephone numbers (rules/README.md):
# [[statement]]
# jurisdiction = "us-ca"
# compared_on = 2026-01-02
# words = '''
# ...
# '''

[[person]]
key = {person}                     # the short name used on day sheets and with --by
name = {person_name}
licensee = true

# [[person.licence]]
# number = "..."
# title = "operator"
# jurisdiction = "us-ca"
# work = ["structural"]
# level = "certified"              # "certified", or "supervised" for who works under somebody
# restricted = true                # certified for restricted use
# from = 2026-01-01
# to = 2028-06-30

# [[tool]]
# key = "duster-a"
# kind = "bulb duster"
# empty = "140.0 g"
# holds = "8 oz"
"""


@click.command("init")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--name", default="Name of the firm", help="The firm's name.")
@click.option("--licence", default="licence number", help="The firm's licence or registration.")
@click.option("--address", default="street and number", help="The firm's street address.")
@click.option("--city", default="city", help="The firm's city.")
@click.option("--state", default="CA", help="The firm's state, two letters.")
@click.option("--zip", "zip5", default="00000", help="The firm's ZIP code.")
@click.option("--time-zone", default="America/Los_Angeles", help="The firm's time zone.")
@click.option("--person", default="licensee", help="Key of the first person, the licensee.")
@click.option("--person-name", default="Name of the licensee", help="That person's name.")
@click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
def init_command(folder: Path, as_json: bool, **said: str) -> None:
    """Make a workspace for a firm.

    \b
    A folder that is the whole of the firm's data: the firm file, the ledger, the rule files.
    Example:
      useledger init "Sierra workspace" --name "Calloway Home Pest Care" --person calloway
    """
    import sys

    from ledger.cli.common import guarded

    sys.exit(guarded(_init, folder, as_json=as_json, said=said))


def _init(folder: Path, *, as_json: bool, said: dict[str, str]) -> int:
    import json

    state = said["state"].upper()
    values = {
        "name": said["name"], "licence": said["licence"], "address": said["address"],
        "city": said["city"], "state": state, "zip": said["zip5"],
        "home": f"us-{state.casefold()}", "time_zone": said["time_zone"],
        "person": said["person"], "person_name": said["person_name"],
    }  # fmt: skip
    # a JSON string is a TOML basic string
    text = FIRM_TEXT.format(**{key: json.dumps(value) for key, value in values.items()})
    made = make_workspace(folder, text)
    for note in warnings_about(folder):
        click.echo(f"useledger: warning: {note}", err=True)
    made.store.close()
    if as_json:
        print_json({"workspace": str(folder), "firm_file": str(folder / FIRM_FILE)})
        return DONE
    click.echo(f"{folder} is ready.")
    click.echo(f"  1. write the firm, its people and tools into {folder / FIRM_FILE}")
    click.echo(
        f"  2. put your labels into {folder / 'rules' / 'labels'} (rules/README.md shows how)"
    )
    click.echo("  3. useledger rules check")
    click.echo("  4. useledger template day.xlsx")
    return DONE


@click.command("template")
@click.argument("target", type=click.Path(path_type=Path))
@shared
def template_command(target: Path, workspace: str | None, as_json: bool) -> int:
    """Write an empty day sheet, for a screen or a pen.

    \b
    With the workspace's own products, people, sites and words. A file that is there already is
    never written over.
    Examples:
      useledger template day.xlsx      to fill in on a screen
      useledger template day.csv       its headings only, for an editor or another program
      useledger template day.pdf       to fill in with a pen
    """
    from ledger.flow.places import site_from
    from reports.day_sheet import day_sheet_csv, day_sheet_pdf, day_sheet_xlsx

    if target.exists():
        stop(f"{target} is there already and may be filled in; name another file")
    opened = open_workspace(workspace)
    lexicon = opened.book.lexicon(opened.today())
    suffix = target.suffix.casefold()
    if suffix not in {".xlsx", ".csv", ".pdf"}:
        stop(f"{target}: name a file that ends in .xlsx, .csv or .pdf")
    target.parent.mkdir(parents=True, exist_ok=True)
    if suffix == ".xlsx":
        with opened.store.reading() as reader:
            newest = {entry.body["site"]: site_from(entry) for entry in reader.sites()}
        sites = [site for site in newest.values() if site.same_as is None]
        day_sheet_xlsx(lexicon, sites, target)
    elif suffix == ".csv":
        day_sheet_csv(target)
    else:
        day_sheet_pdf(lexicon, target)
    if as_json:
        print_json({"file": str(target)})
    elif suffix != ".pdf":
        click.echo(f"{target} is written. Fill it in, then: useledger check {target}")
    else:
        click.echo(f"{target} is written. Print it and fill it in with a pen.")
    return DONE
