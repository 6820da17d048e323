"""The licensee's word to a finding: answer."""

from __future__ import annotations

import click

from ledger.cli.common import DONE, print_json, shared
from ledger.flow.workspace import open_workspace


@click.command("answer")
@click.argument("what", metavar="ENTRY|FINDING")
@click.option("--because", required=True, help="Why it happened; kept apart, with a salt.")
@click.option("--action", required=True, help="What was done so that it does not happen again.")
@click.option("--by", metavar="PERSON", required=True, help="Who answers.")
@shared
def answer_command(
    what: str, because: str, action: str, by: str, workspace: str | None, as_json: bool
) -> int:
    """Answer a finding: the reason and what was done.

    Answer a finding: the reason and the corrective action. The finding stays readable.

    \b
    An entry's number answers all its breaches and differences; a finding is named as useledger
    audit names it. What only an act settles (a day to close, a report to file) stays owed.
    Examples:
      useledger answer 153 --because "customer called us back" --action "plan checked" --by K
      useledger answer 153/breach/ten-days --because "..." --action "..." --by calloway
    """
    from ledger.flow.answering import Reply, answer

    opened = open_workspace(workspace)
    done = answer(opened, what, Reply(because, action, opened.require_person(by)))
    if as_json:
        print_json([{"finding": item.id, "entry": sealed.seq} for item, sealed in done])
    else:
        for item, sealed in done:
            more = "; it stays owed until it is done" if item.to_do else ""
            click.echo(f"{item.id} is answered by entry {sealed.seq}{more}")
    return DONE
