"""What an inspector checks, in which order, and how the ledger stands to it. Pure.

The order is that of inspection papers as read (county inspection slides, EPA's plan for Indian
country, Arizona and Connecticut rules): licences, then the records of a range of days, then the
reports as filed, then training, stock and labels. No ranked list of a government was found for the
faults inside a record; missing or late comes first there, which is our own order.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import IntEnum
from fractions import Fraction

from ledger.seal import canonical, seal_of
from ledger.values.finding import Finding, Kind, RuleRef


class Topic(IntEnum):
    """What is checked, in the order in which it is asked for."""

    LICENCES = 1
    RECORDS = 2
    FIELDS = 3
    WORK = 4
    REPORTS = 5
    TRAINING = 6
    STOCK = 7
    LABELS = 8
    KEEPING = 9
    INCIDENTS = 10

    @property
    def text(self) -> str:
        """The topic in words."""
        return _TOPICS[self]


_TOPICS = {
    Topic.LICENCES: "licences and supervision on the day",
    Topic.RECORDS: "records made, and in time",
    Topic.FIELDS: "what each record holds",
    Topic.WORK: "work within label and law",
    Topic.REPORTS: "reports filed, nil reports too",
    Topic.TRAINING: "training and signing off",
    Topic.STOCK: "stock",
    Topic.LABELS: "labels and rules on file",
    Topic.KEEPING: "records kept, unaltered",
    Topic.INCIDENTS: "incidents",
}


class Weight(IntEnum):
    """How heavy an item is, the worst first.

    A difference is something that comes out otherwise than it was sealed.
    """

    BREACH = 1
    MISSING = 2
    DIFFERENCE = 3
    UNKNOWN = 4
    ADVICE = 5

    @property
    def text(self) -> str:
        """The weight as one word."""
        return self.name.casefold()


WEIGHTS: Mapping[Kind, Weight] = {
    Kind.BREACH: Weight.BREACH,
    Kind.MISSING: Weight.MISSING,
    Kind.UNKNOWN: Weight.UNKNOWN,
    Kind.ADVICE: Weight.ADVICE,
}


@dataclass(frozen=True, slots=True)
class Answer:
    """What the firm said to an item: why it happened, what was done about it, who, when (UTC)."""

    seq: int
    because: str
    action: str
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that an audit shows.

    ``subject`` names what it is about so that a later audit finds it again: an entry's number, or
    for example ``day:2026-01-14``. ``origin`` is where the record was read. ``to_do`` marks what
    only an act settles (a day to close, a report to file): an answer explains it and it stays owed.
    ``note`` is a remark beside the text.
    """

    topic: Topic
    weight: Weight
    subject: str
    name: str
    text: str
    code: str = ""
    entry: int | None = None
    day: date | None = None
    origin: str = ""
    way_out: str = ""
    rules: tuple[RuleRef, ...] = ()
    to_do: bool = False
    note: str = ""
    answer: Answer | None = None

    @property
    def id(self) -> str:
        """``SUBJECT/WEIGHT/NAME``: what an answer names and a later audit compares."""
        return f"{self.subject}/{self.weight.text}/{self.name}".replace(" ", "-")

    @property
    def owed(self) -> bool:
        """Whether somebody still has to do or say something about it."""
        if self.weight not in {Weight.BREACH, Weight.MISSING, Weight.DIFFERENCE}:
            return False
        return self.to_do or self.answer is None


def topic_of(finding: Finding) -> Topic:
    """Return under which topic a judgement's finding is looked for."""
    code = finding.code
    if code.startswith("PEOPLE-") or code == "LAW-REGISTRATION" or code.endswith("-SUPERVISION"):
        return Topic.LICENCES
    if code.startswith("FIELD-") or code == "REMARK":
        return Topic.FIELDS
    if code in {"LABEL-CANNOT-TELL", "RULES-STALE", "LAW-NOT-ON-FILE"}:
        return Topic.LABELS
    return Topic.WORK


def item_of(finding: Finding, entry: int, origin: str, day: date) -> Item:
    """Return the item of a finding about an entry."""
    return Item(
        topic_of(finding), WEIGHTS[finding.kind], str(entry), finding.name or finding.code,
        finding.text, finding.code, entry, day, origin, finding.way_out, finding.rules,
    )  # fmt: skip


def in_order(items: Iterable[Item]) -> tuple[Item, ...]:
    """Return items as an inspector goes through them: by topic, the worst first, then by day."""
    return tuple(
        sorted(
            items,
            key=lambda item: (
                item.topic, item.weight, item.answer is not None, item.day or date.max,
                item.entry or 0, item.subject, item.name, item.text,
            ),
        )
    )  # fmt: skip


def by_topic(items: Iterable[Item]) -> tuple[tuple[Topic, tuple[Item, ...]], ...]:
    """Return the topics that have items, in order, each with its own."""
    ordered = in_order(items)
    return tuple(
        (topic, found)
        for topic in Topic
        if (found := tuple(item for item in ordered if item.topic is topic))
    )


def with_answers(
    items: Iterable[Item],
    answers: Mapping[str, Answer],
    versions: Mapping[int, Sequence[int]],
) -> tuple[Item, ...]:
    """Return the items with the firm's answers beside them.

    ``answers`` are by item id, the newest of each. The same finding in a newer judgement has the
    same id and keeps its answer. A corrected record is another record: an answer given to an
    earlier version (``versions`` lists them by entry) is only mentioned.
    """
    return tuple(_answered(item, answers, versions) for item in items)


def _answered(
    item: Item, answers: Mapping[str, Answer], versions: Mapping[int, Sequence[int]]
) -> Item:
    found = answers.get(item.id)
    if found is not None:
        return replace(item, answer=found)
    for earlier in reversed(versions.get(item.entry or 0, ())):
        before = answers.get(replace(item, subject=str(earlier)).id)
        if before is not None and earlier != item.entry:
            note = f"entry {before.seq} answered this of version {earlier}, before the amendment"
            return replace(item, note=note)
    return item


# ------------------------------------------------------------------ figures


@dataclass(frozen=True, slots=True)
class Made:
    """How one current record came about.

    ``complete``: no field that the law asks for is missing, None where it is not judged here.
    ``on_time``: None where no clock that
    was read governs the record. ``lag`` is whole minutes from the end of the work (the end of the
    local day where no time is written) to the sealing of the first version, None where no site
    says the time zone.
    """

    entry: int
    complete: bool | None
    on_time: bool | None
    lag: int | None
    after_close: bool
    amended: bool


@dataclass(frozen=True, slots=True)
class Figures:
    """The page of figures; shares are exact, None where nothing can be shared out."""

    records: int
    complete: int
    timed: int
    on_time: int
    median_lag: Fraction | None
    after_close: int
    amended: int
    weights: tuple[tuple[str, int], ...]
    answered: int
    owed: int
    judged: int

    @property
    def share_complete(self) -> Fraction | None:
        """The share of the records judged here that hold every field the law asks for."""
        return Fraction(self.complete, self.judged) if self.judged else None

    @property
    def share_on_time(self) -> Fraction | None:
        """The share of records made in time, of those that a clock that was read governs."""
        return Fraction(self.on_time, self.timed) if self.timed else None

    def values(self) -> dict[str, int | str | None]:
        """Return the figures as they are sealed: whole numbers, and the lag as exact text."""
        lag = None if self.median_lag is None else str(self.median_lag)
        return {
            "records": self.records, "complete": self.complete, "timed": self.timed,
            "on_time": self.on_time, "median_lag_minutes": lag, "after_close": self.after_close,
            "amended": self.amended, **dict(self.weights), "answered": self.answered,
            "owed": self.owed, "judged": self.judged,
        }  # fmt: skip


def figures_of(made: Sequence[Made], items: Sequence[Item]) -> Figures:
    """Return the figures of these records and items."""
    timed = [one.on_time for one in made if one.on_time is not None]
    return Figures(
        records=len(made),
        complete=sum(one.complete is True for one in made),
        timed=len(timed),
        on_time=sum(timed),
        median_lag=median([one.lag for one in made if one.lag is not None]),
        after_close=sum(one.after_close for one in made),
        amended=sum(one.amended for one in made),
        weights=tuple(
            (weight.text, sum(item.weight is weight for item in items)) for weight in Weight
        ),
        answered=sum(item.answer is not None for item in items),
        owed=sum(item.owed for item in items),
        judged=sum(one.complete is not None for one in made),
    )


def median(values: Iterable[int]) -> Fraction | None:
    """Return the exact middle value, the mean of the middle two of an even number."""
    ordered = sorted(values)
    if not ordered:
        return None
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return Fraction(ordered[middle])
    return Fraction(ordered[middle - 1] + ordered[middle], 2)


# ------------------------------------------------------------------ against the last audit


@dataclass(frozen=True, slots=True)
class Since:
    """How this audit differs from an earlier one of the same scope.

    ``figures`` maps each figure that changed to what it was and what it is.
    """

    seq: int
    at: str
    new: tuple[Item, ...]
    gone: tuple[str, ...]
    answered: tuple[str, ...]
    figures: Mapping[str, tuple[str, str]]


def listing_of(items: Iterable[Item]) -> bytes:
    """Return the canonical list of an audit: each item's id and the entry that answers it."""
    return canonical(
        [
            {"id": item.id, "answer": None if item.answer is None else item.answer.seq}
            for item in in_order(items)
        ]
    )


def digest_of(items: Iterable[Item]) -> str:
    """Return the digest that an audit entry seals."""
    return seal_of(listing_of(items))


def compare_audits(
    before: tuple[int, str],
    said: Sequence[Mapping[str, object]],
    figures: Mapping[str, object],
    now: tuple[Sequence[Item], Figures],
) -> Since:
    """Return what is new, gone and answered since an earlier audit.

    ``before`` is its entry and time, ``said`` the list it kept, ``figures`` the figures it sealed.
    """
    items, present = now
    old = {str(line["id"]): line["answer"] for line in said}
    ids = {item.id for item in items}
    changed = {
        name: ("" if figures.get(name) is None else str(figures[name]),
               "" if value is None else str(value))
        for name, value in present.values().items()
        if figures.get(name) != value
    }  # fmt: skip
    return Since(
        *before,
        new=in_order(item for item in items if item.id not in old),
        gone=tuple(sorted(id for id in old if id not in ids)),  # noqa: A001 - an item's own word
        answered=tuple(
            item.id for item in in_order(items)
            if item.answer and item.id in old and old[item.id] is None
        ),
        figures=changed,
    )  # fmt: skip
