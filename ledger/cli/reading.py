"""Reading the past: trace and verify."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    EntryNumber,
    fault_json,
    print_json,
    shared,
)  # fmt: skip
from ledger.cli.printing import counted, filled, progress_bar
from ledger.flow.workspace import open_workspace
from ledger.values.finding import render_fault
from ledger.values.sealed import kind_words

if TYPE_CHECKING:
    from ledger.flow.tracing import Trace
    from ledger.flow.workspace import Workspace
    from ledger.journal.verify import Mark, Verification


@click.command("trace")
@click.argument("entry", type=EntryNumber())
@shared
def trace_command(entry: int, workspace: str | None, as_json: bool) -> int:
    """Tell one entry's whole story.

    \b
    Recomputed from the kept cells and the rules of its day: read, normalised, checked, sealed,
    closed, summed, filed. A difference from what was sealed is shown and gives exit code 1.
    Example:
      useledger trace 17
    """
    from ledger.flow.tracing import trace

    told = trace(open_workspace(workspace), entry)
    if as_json:
        print_json({
            "entry": told.entry.seq, "kind": str(told.entry.kind), "seal": told.entry.seal,
            "versions": [version.seq for version in told.versions],
            "steps": [
                {
                    "step": step.number, "name": step.name, "lines": list(step.lines),
                    "differences": [
                        {"what": item.what, "sealed": item.sealed, "now": item.now}
                        for item in step.differences
                    ],
                }
                for step in told.steps
            ],
        })  # fmt: skip
    else:
        click.echo(trace_text(told))
    return OWED if told.differences else DONE


def trace_text(told: Trace) -> str:
    """Return a story as a person reads it."""
    lines = [f"entry {told.entry.seq}: {kind_words(told.entry.kind)}"]
    for step in told.steps:
        lines.append(f"\n{step.number}  {step.name}")
        lines += [filled(line, "   ", "      ") for line in step.lines]
        for item in step.differences:
            lines.append(f"   DIFFERS  {item.what}: sealed {item.sealed!r}, now {item.now!r}")
    found = len(told.differences)
    differs = f"{counted(found, 'thing differs', 'things differ')} from what was sealed."
    end = differs if found else "Nothing differs from what was sealed."
    return "\n".join([*lines, "", end])


@click.command("verify")
@click.option("--seal", "codes", multiple=True, metavar="CODE", help="A seal code kept elsewhere.")
@click.option(
    "--since",
    metavar="CODE",
    help='Prove only what is newer than the last proof that passed, by its code (or "last").',
)
@click.option(
    "--packet",
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="Check this packet or proof instead; needs no ledger.",
)
@shared
def verify_command(
    codes: tuple[str, ...], since: str | None, packet: Path | None, workspace: str | None,
    as_json: bool,
) -> int:  # fmt: skip
    """Prove the ledger whole.

    \b
    Everything is recomputed; what is wrong is said with its place, and gives exit code 2. The
    ledger is tamper-evident: to see a cut tail or a rewritten past as well, give the seal codes
    kept outside it (on paper, in an e-mail). A proof that passes prints the seal code up to
    which it went; --since that code goes on from there, however old the ledger is. Examples:
      useledger verify
      useledger verify --since CODE
      useledger verify --seal CODE --seal CODE
      useledger verify --packet inspection.zip
    """
    if packet is not None:
        from ledger.cli.packet import verify_packet

        return verify_packet(packet, codes, as_json=as_json)
    from ledger.flow.inspecting import prove_whole
    from ledger.flow.marks import LAST, keep_mark, mark_for

    opened = open_workspace(workspace, proving=True)
    mark = mark_for(opened, since) if since else None
    if since and since != LAST:
        codes += (since,)  # a code from paper is a kept seal as well
    with progress_bar("proving") as progress:
        result = prove_whole(opened, codes, progress, mark)
    if result.mark is not None:
        keep_mark(opened, result.mark, mark)
    witness = witness_text(opened, result)
    if as_json:
        print_json({
            "ok": result.ok, "checked": result.checked, "private_texts": result.privates,
            "kept_files": result.blobs, "closes": result.closes,
            "head": {"entry": result.head.seq, "seal": result.head.seal},
            "since": mark.seq if mark else None,
            "problems": [fault_json(fault) for fault in result.problems], "witness": witness,
        })  # fmt: skip
        return DONE if result.ok else COULD_NOT
    for fault in result.problems:
        click.echo(render_fault(fault))
    click.echo(filled(verdict(result)))
    click.echo(filled(witness))
    if result.mark is not None:
        click.echo(filled(mark_text(result.mark)))
    return DONE if result.ok else COULD_NOT


UNREADABLE = "SEAL-CODE"
"""The fault of a seal code that is mistyped: it says nothing about the ledger."""


def verdict(result: Verification) -> str:
    """Return whether the ledger is whole, in a sentence; a mistyped code is no fault of it."""
    wrong = [fault for fault in result.problems if fault.code != UNREADABLE]
    codes = len(result.problems) - len(wrong)
    if wrong:
        return f"The ledger is NOT whole: {counted(len(wrong), 'problem')}."
    before = result.since
    whole = (
        f"{counted(result.checked, 'entry', 'entries')}, "
        f"{counted(result.privates, 'private text')}, {counted(result.blobs, 'kept file')} and "
        f"{counted(result.closes, 'close')} recomputed"
    )
    if before:
        whole += f" after entry {before.seq}; everything was last proved on {before.at[:10]}"
    if codes:
        unread = counted(codes, "seal code could not be read and was", "seal codes could not be "
                         "read and were")  # fmt: skip
        return f"The ledger is whole in itself ({whole}), but {unread} not compared."
    return f"The ledger is whole: {whole}."


def mark_text(mark: Mark) -> str:
    """Return how far the ledger is proved, with the code by which the next proof goes on."""
    from ledger.seal import seal_code

    code = seal_code(mark.seal)
    return f"Proved up to entry {mark.seq}, seal code {code}. Next time: --since {code}"


def witness_text(workspace: Workspace, result: Verification) -> str:
    """Return how far outside witnesses reach, and how old the newest is."""
    from datetime import datetime

    newest = result.newest_witness
    if newest is None:
        return (
            "No kept seal code was compared: only a code kept outside the ledger can show that "
            "the tail was not cut off or the whole rewritten (--seal CODE)."
        )
    age = (workspace.clock() - datetime.fromisoformat(newest.at)).days
    after = result.head.seq - newest.seq
    return (
        f"The newest kept code seals entry {newest.seq}, {counted(age, 'day')} old; "
        f"{counted(after, 'entry', 'entries')} after it stand on the ledger's own word alone."
    )
