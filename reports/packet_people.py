"""The packet's sheet of training and supervision: who was trained, and which lines were signed."""

from __future__ import annotations

from fractions import Fraction

from ledger.flow.packet import Packet, file_name
from ledger.values.firm import Firm
from ledger.values.sealed import EntryKind, Sealed
from reports.sheet import Column, Kind, Note, Number, Sheet, Value

_COLUMNS = (
    Column("Entry", "number in the ledger", Kind.NUMBER), Column("Date"), Column("What"),
    Column("Who", "the person trained, or whose line it was"), Column("By", "trainer, supervisor"),
    Column("On what", "the training, or the entry signed off"), Column("Signed", "on paper"),
    Column("Ends", "last day of a licence held elsewhere"), Column("Paper"), Column("Recorded by"),
    Column("Sealed", "UTC"),
)  # fmt: skip


def training_sheet(packet: Packet, firm: Firm, about: tuple[tuple[str, str], ...]) -> Sheet:
    """Return every training and every signature of the selection, by day."""
    papers = {
        entry.refers: f"attached/{entry.seq}-{file_name(packet.file(entry))}"
        for entry in packet.of(EntryKind.ATTACHMENT)
    }
    rows = [_training(packet, entry, papers) for entry in packet.of(EntryKind.TRAINING)]
    rows += [_signature(packet, firm, entry) for entry in packet.of(EntryKind.SIGN_OFF)]
    note = (
        "Who supervised each line stands with the records; who was certified when, with the "
        "licences. A trainee's line is signed off by the supervisor of that day."
    )
    return Sheet(
        "training and supervision", "Training and supervision", about, _COLUMNS,
        tuple(sorted(rows, key=lambda row: (str(row[1]), str(row[2]), str(row[5])))),
        statement="" if rows else "Nothing of this kind in this selection.",
        notes=(Note(note),), wide=True,
    )  # fmt: skip


def _training(packet: Packet, entry: Sealed, papers: dict[int | None, str]) -> tuple[Value, ...]:
    body, said = entry.body, packet.texts[entry.seq]
    topics = "; ".join(said.get("topics") or ())
    what = f"{said.get('title', '')}: {topics}" if topics else str(said.get("title", ""))
    if said.get("number"):
        what = f"licence {said['number']} of {said.get('authority', '')}"
    trainer = str(said.get("trainer_name", ""))
    if said.get("qualification"):
        trainer = f"{trainer} ({said['qualification']})"
    return (
        Number(Fraction(entry.seq)), body["date"], f"training ({body['route']})",
        str(said.get("name") or body["person"]), trainer, what,
        "yes" if body["signed"] else "not said", body["expires"] or "",
        papers.get(entry.seq, ""), entry.by, entry.at.replace("T", " ")[:19],
    )  # fmt: skip


def _signature(packet: Packet, firm: Firm, entry: Sealed) -> tuple[Value, ...]:
    note = str(packet.texts[entry.seq].get("note", ""))
    names = {person.key: person.name for person in firm.people}
    key = entry.body["person"]
    return (
        Number(Fraction(entry.seq)), entry.body["date"], "signed off", names.get(key, key),
        names.get(entry.by, entry.by),
        f"entry {entry.body['entry']}" + (f": {note}" if note else ""), "", "", "", entry.by,
        entry.at.replace("T", " ")[:19],
    )  # fmt: skip
