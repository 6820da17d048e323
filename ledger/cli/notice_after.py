"""The customer's paper after the job, from the command line."""

from __future__ import annotations

from pathlib import Path

import click

from ledger.cli.common import DONE, OWED, print_json, say_error, staged, stop
from ledger.flow.noticing_after import (
    AfterNotice,
    Handing,
    after_notice,
    give_after,
    not_agreed,
)
from ledger.flow.workspace import Workspace
from ledger.notice import Extra


def after_command(
    workspace: Workspace,
    asked: tuple[str, dict[str, str], bool],
    by: str,
    out: Path | None,
    *,
    as_json: bool,
) -> int:
    """Print or write the paper after a visit; where it was handed over, seal what became of it."""
    visit, states, consent = asked
    said = {state: how for state, how in states.items() if how}
    if len(said) > 1:
        stop("a paper is either given, refused or waived")
    if bool(said) != bool(by):
        stop("say both what became of the paper (--given HOW) and who says so (--by PERSON)")
    handing = next((Handing(state, how, consent) for state, how in said.items()), None)
    author = workspace.require_person(by) if by else ""
    suffix = out.suffix.casefold() if out else ".txt"
    extra = Extra()
    if handing is None:
        made = after_notice(workspace, visit, extra)
        page = after_page(workspace, made, suffix)
    else:
        what = (extra, handing)
        made = give_after(
            workspace, visit, what, lambda one: after_page(workspace, one, suffix), author
        )
        page = made.page
    if out is not None:
        with staged({out: page}):
            pass
    if as_json:
        from reports.notice import notice_values

        print_json({
            **notice_values(made.notice), "file": str(out) if out else None,
            "entries": [entry.seq for entry in made.entries],
            "entry": made.entry.seq if made.entry else None,
        })  # fmt: skip
    else:
        click.echo(f"{out} is written" if out else page.decode().rstrip())
        if made.entry is not None and handing is not None:
            say_error(f"sealed as entry {made.entry.seq}: {handing.state} {handing.how}".rstrip())
        by_hand = (f"to be put in by hand: {text}" for text in made.notice.lacking)
        for text in (*made.notice.remarks, *by_hand):
            say_error(text)
    unagreed = _say_not_agreed(made, handing)
    return OWED if made.notice.lacking or unagreed else DONE


def _say_not_agreed(made: AfterNotice, handing: Handing | None) -> bool:
    """Say what went by e-mail without the agreement that the law asks for."""
    found = not_agreed(made, handing) if handing is not None else ()
    for text in found:
        say_error(text)
    return bool(found)


def after_page(workspace: Workspace, made: AfterNotice, suffix: str) -> bytes:
    """Return the page in the kind that the ending of the name says: .txt, .html, else PDF."""
    from reports.notice import notice_html, notice_sheet, notice_text

    if suffix == ".html":
        return notice_html(made.notice).encode()
    if suffix == ".txt":
        return notice_text(made.notice).encode() + b"\n"
    from reports.pdf import document

    return document([notice_sheet(made.notice)], workspace.book.firm.name)
