"""How people under supervision stand: trained until when, what waits to be signed, what lacks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from ledger.audit import Item, Topic, Weight
from ledger.checks.people import CERTIFIED
from ledger.deadlines import Began, Owing, Sort, clock_ends, long_day
from ledger.flow.audit_records import Looked
from ledger.flow.governing import case_of, clocks_of
from ledger.flow.lines import BOOKED
from ledger.flow.training import Waiting, is_trainee, level_on, supervisor_of, waiting_lines
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.rulebook.book import Book, months_after
from ledger.rulebook.model import Deadline, Read
from ledger.values.amount import Quantity
from ledger.values.finding import RuleRef
from ledger.values.firm import Person
from ledger.values.sealed import EntryKind, Sealed

ABOUT = "training"
PRACTICE = "common practice, no source"

USUAL = Deadline(
    "yearly-training", "who works under supervision is trained every year",
    Quantity(Fraction(12), "month"), RuleRef("", 0, "", PRACTICE), Read.PRACTICE, about=ABOUT,
    counted_from=ABOUT,
)  # fmt: skip
"""What is gone by where no law that was read says how long a training holds."""

Trainings = Mapping[str, tuple[Sealed, ...]]


def trainings(reader: Reader) -> Trainings:
    """Return every training on record, by the person's key, in the order of their days."""
    found: dict[str, list[Sealed]] = {}
    for entry in reader.entries(kinds=(EntryKind.TRAINING,)):
        found.setdefault(entry.body["person"], []).append(entry)
    return {
        key: tuple(sorted(entries, key=lambda entry: (entry.body["date"], entry.seq)))
        for key, entries in found.items()
    }


def clock_at(book: Book, jurisdiction: str, day: date) -> Deadline:
    """Return the clock to go by in a place: of those in force the best read, then the shortest."""
    clocks = [
        clock
        for law in book.laws_of(jurisdiction)
        for clock in law.deadlines
        if clock.about == ABOUT and clock.span.holds(day)
    ]
    return min(
        clocks, key=lambda clock: (not clock.read.decides, holds_until(clock, day)), default=USUAL
    )


def holds_until(clock: Deadline, day: date, expires: str | None = None) -> date:
    """Return the last day on which a training of ``day`` holds; a licence's expiry ends it too."""
    last = clock_ends(clock.within, Began(day, None, "UTC")).day
    return min(last, date.fromisoformat(expires)) if expires else last


def lapses(entries: Iterable[Sealed], clock: Deadline) -> date | None:
    """Return the last day on which the latest of these trainings holds, or None without any."""
    days = [_until(entry, clock) for entry in entries]
    return max(days, default=None)


def _until(entry: Sealed, clock: Deadline) -> date:
    return holds_until(clock, date.fromisoformat(entry.body["date"]), entry.body["expires"])


def _covers(entry: Sealed, clock: Deadline, day: date) -> bool:
    return date.fromisoformat(entry.body["date"]) <= day <= _until(entry, clock)


# ------------------------------------------------------------------ standing, for the listing


@dataclass(frozen=True, slots=True)
class Standing:
    """How a person under supervision stands on a day.

    ``trained`` is the day of the newest training, ``until`` the last day on which one holds by
    ``clock``; ``waiting`` are lines nobody has signed off.
    """

    person: Person
    clock: Deadline
    trained: date | None
    until: date | None
    waiting: tuple[Waiting, ...]


def standings(workspace: Workspace, reader: Reader, day: date) -> tuple[Standing, ...]:
    """Return everybody who is not certified at home on that day, or has lines that wait."""
    book, firm = workspace.book, workspace.book.firm
    clock = clock_at(book, firm.home, day)
    trained = trainings(reader)
    waits: dict[str, list[Waiting]] = {}
    for item in waiting_lines(reader, firm):
        if item.record.use.date <= day:
            waits.setdefault(item.record.use.applicator, []).append(item)
    found: list[Standing] = []
    for person in firm.people:
        mine = [item for item in trained.get(person.key, ()) if item.body["date"] <= str(day)]
        waiting = tuple(waits.get(person.key, ()))
        if waiting or mine or level_on(firm, person, firm.home, day) != CERTIFIED:
            newest = date.fromisoformat(mine[-1].body["date"]) if mine else None
            found.append(Standing(person, clock, newest, lapses(mine, clock), waiting))
    return tuple(found)


# ------------------------------------------------------------------ audit


def was_certified(workspace: Workspace, looked: Looked) -> bool:
    """Say whether who did the work of a record held a licence of their own on that day."""
    firm, use = workspace.book.firm, looked.record.use
    return level_on(firm, firm.person(use.applicator), use.jurisdiction, use.date) == CERTIFIED


def training_items(
    workspace: Workspace, reader: Reader, records: Sequence[Looked]
) -> Iterator[Item]:
    """Yield work without a training that holds, unsigned trainings, and lines not signed off."""
    firm = workspace.book.firm
    trained = trainings(reader)
    signed = {entry.refers for entry in reader.entries(kinds=(EntryKind.SIGN_OFF,))}
    lacking: dict[tuple[str, str], list[_Lack]] = {}
    unsigned: dict[tuple[str, date, str], list[int]] = {}
    for looked in records:
        use, entry = looked.record.use, looked.record.sealed
        if was_certified(workspace, looked) or entry.body.get("carried"):
            continue
        for lack in _lacks(workspace, looked, trained.get(use.applicator, ())):
            lacking.setdefault(
                (use.applicator, f"{lack.clock.ref.file}/{lack.clock.name}"), []
            ).append(lack)
        if entry.seq not in signed and is_trainee(firm, use):
            line = (use.applicator, use.date, supervisor_of(firm, use))
            unsigned.setdefault(line, []).append(entry.seq)
    for (who, _), lacks in sorted(lacking.items()):
        yield _lack_item(who, lacks)
    for (key, day, supervisor), seqs in sorted(unsigned.items()):
        yield Item(
            Topic.TRAINING, Weight.ADVICE, f"sign-off:{key}.{day}", "not-signed-off",
            f"{key} held no licence on {day}, and nobody has signed off "
            f"{_entries(seqs)} ({PRACTICE})", entry=seqs[0], day=day,
            way_out=f"useledger people sign-off {day} --trainee {key} --by {supervisor or '...'}",
        )  # fmt: skip
    worked = {looked.record.use.applicator for looked in records}
    yield from _paper_items({key: entries for key, entries in trained.items() if key in worked})


def _entries(seqs: list[int]) -> str:
    return f"entries {', '.join(map(str, seqs))}" if len(seqs) > 1 else f"entry {seqs[0]}"


@dataclass(frozen=True, slots=True)
class _Lack:
    """A record that no training covers by a clock; ``applies`` None: cannot tell if it governs."""

    clock: Deadline
    applies: bool | None
    seq: int
    day: date
    newest: date | None


def _lacks(workspace: Workspace, looked: Looked, entries: tuple[Sealed, ...]) -> list[_Lack]:
    """Return by which clocks no training covers a record; what decides silences what informs."""
    use = looked.record.use
    found = list(_governing(workspace.book, looked)) or [(USUAL, True)]
    before = [entry for entry in entries if entry.body["date"] <= use.date.isoformat()]
    newest = date.fromisoformat(before[-1].body["date"]) if before else None
    lacks = [
        _Lack(clock, applies, looked.record.sealed.seq, use.date, newest)
        for clock, applies in found
        if not any(_covers(entry, clock, use.date) for entry in before)
    ]
    return [lack for lack in lacks if lack.clock.read.decides and lack.applies] or lacks


def _governing(book: Book, looked: Looked) -> Iterator[tuple[Deadline, bool | None]]:
    """Yield the clocks about training that may govern a record, and whether they do."""
    if looked.site is not None:
        for clock, applies in clocks_of(book, case_of(book, looked.record.use, looked.site)):
            if clock.about == ABOUT:
                yield clock, applies


def _lack_item(key: str, lacks: list[_Lack]) -> Item:
    """Return what is said of a person's records that no training covers by one clock."""
    clock = lacks[0].clock
    first, last = min(lack.day for lack in lacks), max(lack.day for lack in lacks)
    newest = max((lack.newest for lack in lacks if lack.newest), default=None)
    since = f"the newest before them was on {newest}" if newest else "none is recorded before them"
    span = f"on {first}" if first == last else f"from {first} to {last}"
    many = f"{len(lacks)} records" if len(lacks) > 1 else f"entry {lacks[0].seq}"
    length = f"{clock.within.value} {clock.within.unit}s"
    text = (
        f"{key} had no training within {length} before {many} {span}; {since}: {clock.what} "
        f"({clock.ref.source})"
    )
    weight = Weight.BREACH
    if clock.read is Read.PRACTICE:
        weight = Weight.ADVICE
    elif not clock.read.decides:
        weight, text = Weight.ADVICE, f"unverified: {text}"
    elif not any(lack.applies for lack in lacks):
        weight, text = Weight.UNKNOWN, f"cannot tell whether this governs: {text}"
    return Item(
        Topic.TRAINING, weight, f"person:{key}", f"no-training-{clock.name}", text, day=first,
        way_out=f"useledger people train {key} --on DATE --trainer ... --title ... --by PERSON",
        rules=(clock.ref,) if clock.ref.file else (),
    )  # fmt: skip


def _paper_items(trained: Trainings) -> Iterator[Item]:
    """Yield trainings whose paper is not said to be signed, nor recorded again as signed."""
    for key, entries in sorted(trained.items()):
        signed = {entry.body["date"] for entry in entries if entry.body["signed"]}
        for entry in entries:
            if entry.body["date"] not in signed:
                day = date.fromisoformat(entry.body["date"])
                yield Item(
                    Topic.TRAINING, Weight.ADVICE, f"training:{entry.seq}", "training-unsigned",
                    f"the training of {key} on {day} is not said to be signed; inspectors look for "
                    "the signature of who was trained (40 CFR 171.201, as EPA sums it up; for use "
                    "of restricted products)", entry=entry.seq, day=day,
                    way_out="have it signed and record it again with --signed",
                )  # fmt: skip


# ------------------------------------------------------------------ due


def supervision_owed(workspace: Workspace, reader: Reader, on: date) -> Iterator[Owing]:
    """Yield trainings that lapse (of people not certified at home) and lines to be signed off."""
    firm = workspace.book.firm
    for standing in standings(workspace, reader, on):
        person, clock = standing.person, standing.clock
        certified = level_on(firm, person, firm.home, on) == CERTIFIED
        if standing.until is not None and not certified:
            yield Owing(
                Sort.TRAINING, standing.until, f"training of {person.name}",
                f"the one of {standing.trained} holds up to {long_day(standing.until)}: "
                f"{clock.what}", clock.ref.source,
                f"useledger people train {person.key} --on DATE --trainer WHO --title WHAT "
                "--by PERSON", standing.until < on, clock.read.decides,
            )  # fmt: skip
        if standing.until is None and _works(reader, person, on):
            yield Owing(
                Sort.TRAINING, on, f"training of {person.name}",
                f"works without a certificate, and no training is recorded: {clock.what}",
                clock.ref.source,
                f"useledger people train {person.key} --on DATE --trainer WHO --title WHAT "
                "--by PERSON", False, clock.read.decides,
            )  # fmt: skip
        days: dict[tuple[date, str], list[int]] = {}
        for item in standing.waiting:
            use = item.record.use
            days.setdefault((use.date, item.supervisor), []).append(item.record.sealed.seq)
        for (day, supervisor), seqs in sorted(days.items()):
            yield Owing(
                Sort.SIGN_OFF, day, f"sign off {_entries(seqs)} of {person.name}",
                f"work of a trainee; {supervisor or 'nobody'} is named to supervise", PRACTICE,
                f"useledger people sign-off {day} --trainee {person.key} "
                f"--by {supervisor or 'PERSON'}", day < on,
            )  # fmt: skip


def _works(reader: Reader, person: Person, on: date) -> bool:
    """Say whether somebody has a record of work in the year up to a day."""
    found = reader.entries(
        kinds=BOOKED, applicator=person.key, date_from=months_after(on, -12), date_to=on
    )
    return any(True for _ in found)
