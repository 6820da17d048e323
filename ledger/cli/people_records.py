"""Records about people: a training, and a supervisor's signature under a trainee's lines."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ledger.cli.common import (
    DONE,
    MOST_OF_A_PAPER,
    name_of,
    print_json,
    read_day,
    read_file,
    shared,
    stop,
)
from ledger.cli.printing import counted
from ledger.flow.workspace import open_workspace


@click.command("train")
@click.argument("person")
@click.option("--on", metavar="DATE", required=True, help="The day of the training.")
@click.option(
    "--route", default="course", show_default=True,
    help='"course", "handler training" or "licensed elsewhere".',
)  # fmt: skip
@click.option("--trainer", default="", help="Who trained: a person of the workspace, or a name.")
@click.option("--title", default="", help="What the training was.")
@click.option("--topic", "topics", multiple=True, help="What it was about; may be given again.")
@click.option("--qualification", default="", help="What qualifies the trainer.")
@click.option("--number", default="", help="Licensed elsewhere: the number.")
@click.option("--expires", metavar="DATE", help="Licensed elsewhere: its last day.")
@click.option("--authority", default="", help="Licensed elsewhere: who certified.")
@click.option("--signed", is_flag=True, help="The paper bears the signatures.")
@click.option("--paper", type=click.Path(path_type=Path), help="A file to keep with it.")
@click.option("--by", metavar="PERSON", required=True, help="Who records it.")
@shared
def train_command(person: str, **said: Any) -> int:  # noqa: ANN401 - click's options
    """Record that somebody was trained: by whom, when, on what.

    \b
    An inspector looks for the printed name, the signature, the day, the trainer and what the
    training was (40 CFR 171.201, as EPA sums it up). Names and titles are kept apart, with a salt.
    Examples:
      useledger people train aster --on 2026-01-05 --trainer renner --title "Safe dusting" \\
        --topic "moving air" --topic "protective equipment" --signed --by calloway
      useledger people train aster --on 2026-01-05 --route "licensed elsewhere" --number "N 7" \\
        --expires 2026-12-31 --authority "Nevada" --by calloway
    """
    from ledger.flow.file_names import file_of
    from ledger.flow.training import TrainingWish, train

    opened = open_workspace(said["workspace"])
    paper: Path | None = said["paper"]
    wish = TrainingWish(
        opened.require_person(person, "PERSON"), read_day(said["on"], "--on"),
        opened.require_person(said["by"]), " ".join(said["route"].casefold().split()),
        said["trainer"], said["title"], said["topics"], said["qualification"], said["number"],
        read_day(said["expires"], "--expires") if said["expires"] else None, said["authority"],
        said["signed"], (name_of(paper), read_file(paper, MOST_OF_A_PAPER)) if paper else None,
    )  # fmt: skip
    sealed, kept = train(opened, wish)
    if said["as_json"]:
        print_json({"entry": sealed.seq, "attachment": kept.seq if kept else None, **sealed.body})
        return DONE
    click.echo(f"entry {sealed.seq}: {person} was trained on {sealed.body['date']}")
    if kept is not None:
        click.echo(f"entry {kept.seq}: {file_of(kept)} is kept with it")
    if not wish.signed:
        click.echo("It is not said to be signed: have the paper signed and say --signed.")
    return DONE


@click.command("sign-off")
@click.argument("what", metavar="DATE|ENTRY...", nargs=-1, required=True)
@click.option("--trainee", metavar="PERSON", help="With a date: only this person's lines.")
@click.option("--note", default="", help="A remark; kept apart, with a salt.")
@click.option("--by", metavar="PERSON", required=True, help="The supervisor who signs.")
@shared
def sign_off_command(
    what: tuple[str, ...], trainee: str | None, note: str, by: str, **said: Any  # noqa: ANN401
) -> int:  # fmt: skip
    """Sign off a trainee's lines, as the supervisor of that day.

    \b
    A date means every line of that day that waits for you. Only the line's own supervisor may
    sign, and only with a certificate that held there on that day. An amended line is signed anew.
    Examples:
      useledger people sign-off 2026-01-15 --by renner
      useledger people sign-off 17 18 --note "went through both on site" --by renner
    """
    from ledger.flow.training import sign_off, sign_off_day

    opened = open_workspace(said["workspace"])
    supervisor = opened.require_person(by)
    whose = opened.require_person(trainee, "--trainee") if trainee else None
    if all(text.isascii() and text.isdecimal() and len(text) < 16 for text in what):
        if whose:
            stop("--trainee goes with a date; an entry says itself whose it is")
        done = sign_off(opened, [int(text) for text in what], supervisor, note)
    elif len(what) == 1:
        done = sign_off_day(opened, read_day(what[0]), supervisor, whose, note)
    else:
        stop("name one date, or the numbers of entries")
    if said["as_json"]:
        print_json([{"entry": item.seq, **item.body} for item in done])
    else:
        lines = ", ".join(str(item.refers) for item in done)
        click.echo(f"{supervisor} has signed off {counted(len(done), 'line')}: entry {lines}")
    return DONE
