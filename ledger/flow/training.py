"""Training of people and the signing off of trainees' lines, as entries; free text kept apart.

What a training says is the union of what was read: EPA's summary of 40 CFR 171.201 (printed name,
signature, date, trainer, title or description of the training) and IDAPA 02.03.03.400.01.c (the
trainer's qualification too; or, of a helper licensed elsewhere, name, number, expiry and certifying
authority). The list of topics that 171.201 asks for was not reached, so topics are free text.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from ledger.checks.people import CERTIFIED, licences_on
from ledger.flow.file_names import named_file
from ledger.flow.judging import Booked, booked
from ledger.flow.lines import BOOKED
from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.journal import Reader, Writer
from ledger.normalise.people import find_person
from ledger.values.entry import Application
from ledger.values.firm import Firm, Person
from ledger.values.sealed import EntryKind, NewEntry, Sealed

COURSE, HANDLER, ELSEWHERE = "course", "handler training", "licensed elsewhere"
ROUTES = (COURSE, HANDLER, ELSEWHERE)


@dataclass(frozen=True, slots=True)
class TrainingWish:
    """What a person says of a training.

    ``trainer`` is a person of the workspace or a name; ``title`` says what it was; ``signed`` that
    the paper bears the signatures; ``number`` to ``authority`` are of a licence held elsewhere.
    ``paper`` is the name and the bytes of a file to be kept with the entry.
    """

    person: str
    on: date
    by: str
    route: str = COURSE
    trainer: str = ""
    title: str = ""
    topics: tuple[str, ...] = ()
    qualification: str = ""
    number: str = ""
    expires: date | None = None
    authority: str = ""
    signed: bool = False
    paper: tuple[str, bytes] | None = None


def train(workspace: Workspace, wish: TrainingWish) -> tuple[Sealed, Sealed | None]:
    """Seal a training, and its paper if there is one; raise where its route asks for more."""
    _refuse_training(workspace, wish)
    firm = workspace.book.firm
    person, trainer = firm.person(wish.person), find_person(wish.trainer, firm)
    assert person is not None
    body = {
        "person": person.key, "date": wish.on.isoformat(), "route": wish.route,
        "trainer": trainer.key if trainer else None,
        "expires": wish.expires.isoformat() if wish.expires else None, "signed": int(wish.signed),
    }  # fmt: skip
    private = {
        "name": person.name, "trainer_name": trainer.name if trainer else wish.trainer,
        "title": wish.title, "topics": list(wish.topics), "qualification": wish.qualification,
        "number": wish.number, "authority": wish.authority,
    }  # fmt: skip
    text = json.dumps(private, ensure_ascii=True, sort_keys=True)
    with workspace.store.writing() as writer:
        sealed = writer.append(NewEntry(EntryKind.TRAINING, body, private=text, by=wish.by))
        paper = _keep_paper(writer, wish, sealed) if wish.paper else None
    return sealed, paper


def _refuse_training(workspace: Workspace, wish: TrainingWish) -> None:
    """Raise where a training cannot be recorded as it is said, with everything that lacks."""
    workspace.require_person(wish.person, "the person trained")
    if wish.on > workspace.today():
        raise WorkspaceProblem(f"{wish.on} has not come yet", "record a training after it")
    if wish.route not in ROUTES:
        raise WorkspaceProblem(
            f'"{wish.route}" is no way to be trained that was read of',
            f"one of {', '.join(ROUTES)}",
        )
    trainer = find_person(wish.trainer, workspace.book.firm)
    if trainer is not None and trainer.key == wish.person:
        raise WorkspaceProblem(f"{wish.person} cannot train themselves", "name who trained them")
    asked: Mapping[str, object] = {"--trainer": wish.trainer.strip(), "--title": wish.title.strip()}
    if wish.route == ELSEWHERE:
        asked = {"--number": wish.number, "--expires": wish.expires, "--authority": wish.authority}
    lacking = [name for name, value in asked.items() if not value]
    if lacking:
        raise WorkspaceProblem(
            f"a training record by the route {wish.route} lacks {' and '.join(lacking)}",
            "an inspector looks for it (40 CFR 171.201 as EPA sums it up); add it",
        )


def _keep_paper(writer: Writer, wish: TrainingWish, sealed: Sealed) -> Sealed:
    assert wish.paper is not None
    name, data = wish.paper
    body = {"digest": writer.keep("attachment", data), "bytes": len(data)}
    text = named_file(name)
    kept = NewEntry(EntryKind.ATTACHMENT, body, private=text, by=wish.by, refers=sealed.seq)
    return writer.append(kept)


# ------------------------------------------------------------------ who signs for whom


def level_on(firm: Firm, person: Person | None, jurisdiction: str, day: date) -> str:
    """Return ``certified``, ``supervised`` or ``none``: the best licence that holds there then."""
    held = licences_on(person, jurisdiction, firm.work, day) if person else ()
    levels = {licence.level for licence in held}
    return CERTIFIED if CERTIFIED in levels else next(iter(sorted(levels)), "none")


def supervisor_of(firm: Firm, use: Application) -> str:
    """Return the key of who supervised: as the line says, else the firm file, or nothing."""
    person = firm.person(use.applicator)
    return use.supervisor or (person.supervisor if person else None) or ""


def is_trainee(firm: Firm, use: Application) -> bool:
    """Say whether a line is of somebody who held no licence for it on that day."""
    person = firm.person(use.applicator)
    return level_on(firm, person, use.jurisdiction, use.date) == "none"


@dataclass(frozen=True, slots=True)
class Waiting:
    """A trainee's current line that nobody has signed off, and whose signature it waits for."""

    record: Booked
    supervisor: str


def waiting_lines(
    reader: Reader, firm: Firm, day: date | None = None, trainee: str | None = None
) -> Iterator[Waiting]:
    """Yield trainees' current lines that wait for a signature, by person and in order.

    Only people with a supervisor in the firm file, or without any licence there, are looked at:
    for somebody certified at another place a missing licence is a breach, not a matter of training.
    """
    signed = {entry.refers for entry in reader.entries(kinds=(EntryKind.SIGN_OFF,))}
    for person in firm.people:
        if (trainee or person.key) != person.key or not (person.supervisor or not person.licences):
            continue
        found = reader.entries(
            kinds=BOOKED, current_only=True, applicator=person.key, date_from=day, date_to=day
        )
        for entry in found:
            if entry.seq in signed or entry.body.get("carried"):
                continue
            record = booked(entry)
            if is_trainee(firm, record.use):
                yield Waiting(record, supervisor_of(firm, record.use))


# ------------------------------------------------------------------ signing off


def sign_off(workspace: Workspace, seqs: Iterable[int], by: str, note: str = "") -> list[Sealed]:
    """Seal that a supervisor has looked at trainees' lines and stands for them; all or none.

    Raises with the first line that ``by`` cannot sign: no current line of somebody under
    supervision, not by the line's own supervisor, or by one who held no certificate there then.
    """
    firm = workspace.book.firm
    text = json.dumps({"note": note}, ensure_ascii=True) if note else None
    done: list[Sealed] = []
    with workspace.store.writing() as writer:
        for seq in dict.fromkeys(seqs):
            use = _refuse_signature(writer, firm, seq, by)
            body = {"entry": seq, "date": use.date.isoformat(), "person": use.applicator}
            done.append(
                writer.append(NewEntry(EntryKind.SIGN_OFF, body, private=text, by=by, refers=seq))
            )
    return done


def sign_off_day(
    workspace: Workspace, day: date, by: str, trainee: str | None = None, note: str = ""
) -> list[Sealed]:
    """Sign off every line of a day that waits for this supervisor; raise where there is none."""
    firm = workspace.book.firm
    with workspace.store.reading() as reader:
        found = list(waiting_lines(reader, firm, day, trainee))
    mine = [item.record.sealed.seq for item in found if item.supervisor == by]
    if not mine:
        others = sorted({item.supervisor or "nobody named" for item in found})
        whose = f"; {len(found)} wait for {', '.join(others)}" if found else ""
        raise WorkspaceProblem(
            f"no trainee's line of {day} waits for {by}{whose}",
            "see useledger people for what waits; nothing was changed",
        )
    return sign_off(workspace, mine, by, note)


def _refuse_signature(reader: Reader, firm: Firm, seq: int, by: str) -> Application:
    """Return the application of a line that this person may sign off; raise otherwise."""
    entry = sealed_entry(reader, seq)
    if entry.kind not in BOOKED:
        raise WorkspaceProblem(f"entry {seq} is a {entry.kind}, no line", "name a booked line")
    newest = reader.newest_version(seq)
    if newest.seq != seq:
        raise WorkspaceProblem(
            f"entry {seq} was replaced by entry {newest.seq} ({newest.kind})",
            "look at what stands now, and sign that",
        )
    use = booked(entry).use
    person = firm.person(use.applicator)
    if level_on(firm, person, use.jurisdiction, use.date) == CERTIFIED:
        raise WorkspaceProblem(
            f"entry {seq} is of {use.applicator}, who was certified on {use.date}",
            "only lines of people under supervision are signed off",
        )
    supervisor = supervisor_of(firm, use)
    if by == use.applicator or by != supervisor:
        raise WorkspaceProblem(
            f"{by} does not supervise entry {seq} of {use.applicator}",
            f"its supervisor signs it off: {supervisor}" if supervisor
            else f"nobody is named: useledger amend {seq} supervisor=... first",
        )  # fmt: skip
    if level_on(firm, firm.person(by), use.jurisdiction, use.date) != CERTIFIED:
        raise WorkspaceProblem(
            f"{by} was not certified for {firm.work} work in {use.jurisdiction} on {use.date}",
            f"somebody certified has supervised: useledger amend {seq} supervisor=...",
        )
    if any(item.kind is EntryKind.SIGN_OFF for item in reader.referring(seq)):
        raise WorkspaceProblem(f"entry {seq} is signed off already", "nothing was changed")
    return use
