"""What a rule file says, as frozen values. The grammar makes them, the checks read them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from ledger.values.amount import Basis, Quantity
from ledger.values.dated import Span
from ledger.values.finding import RuleRef
from ledger.values.product import Product


class Read(StrEnum):
    """How well a source was read. Only the first four can decide; the rest inform."""

    REGULATION = "read in the regulation text"
    SUMMARY = "read in an agency or extension summary"
    LABEL = "label in hand"
    PRACTICE = "common practice, no source"
    OLD = "read in an old edition, may have changed"
    MEMORY = "from memory, not verified"
    INFERRED = "inferred, not verified"

    @property
    def decides(self) -> bool:
        """Whether a rule on such a source may find a breach or something missing."""
        return self not in {Read.OLD, Read.MEMORY, Read.INFERRED}


@dataclass(frozen=True, slots=True)
class Source:
    """A law, a label or a practice: cited once in a file, named by ``key`` elsewhere in it."""

    key: str
    title: str
    section: str = ""
    link: str = ""
    read: Read = Read.REGULATION
    read_on: date | None = None
    note: str = ""


class Op(StrEnum):
    """The closed list of comparisons in a condition."""

    ANY_OF = "any_of"
    NONE_OF = "none_of"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    MORE_THAN = "more_than"
    LESS_THAN = "less_than"
    GIVEN = "given"


@dataclass(frozen=True, slots=True)
class Test:
    """One line of a condition: a fact of the record, compared with a value of the file."""

    __test__ = False  # not a pytest class

    fact: str
    op: Op
    words: tuple[str, ...] = ()
    quantity: Quantity | None = None
    flag: bool | None = None


Condition = tuple[tuple[Test, ...], ...]
"""Blocks of tests: all tests of one block must hold, any block suffices, no block is always."""


class Shape(StrEnum):
    """The shapes a limit can take (``rules/README.md`` shows each)."""

    RATE = "rate"
    COUNT = "count"
    STRENGTH = "strength"
    ENCLOSURE = "enclosure"
    GEOMETRY = "geometry"
    INTERVAL = "interval"
    VISITS = "visits"
    WEATHER = "weather"
    BUFFER = "buffer"
    KEEP_OFF = "keep_off"
    PREPARE = "prepare"
    ALLOWED = "allowed"
    SUPERVISION = "supervision"
    PROHIBITED = "prohibited"
    ASK = "ask"
    SPACING = "spacing"
    SHARE = "share"
    TOTAL = "total"
    STATE = "state"
    REENTRY = "reentry"
    PROTECTION = "protection"
    DATES = "dates"
    FOOD_AREAS = "food_areas"
    COMBINATION = "combination"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a label, a law or a practice, for the days of ``span``.

    ``most`` and ``least`` bound the measure; ``per`` and ``per_what`` are the denominator
    (Quantity 100 ft and "length"; 10 each and "voids"; 1 each and "dwellings"). ``words`` are the
    traits, places, preparations, ingredients or answers that the shape is about; ``allowed`` is
    the table of an ``allowed`` shape (heading to permitted words). ``same`` is ``place`` or
    ``address`` and ``within`` a window ("calendar year") for shapes that count over time.
    ``mandatory`` false makes its finding advice; ``below_breaks`` makes what lies below ``least`` a
    breach. ``of`` says whether the denominator is the treated or the total measure; ``also_per``
    is a second denominator (a depth). ``rolling`` is a window of so many days or months, ``season``
    one from month and day to month and day. ``across`` counts this product or every product with
    one of its ingredients; ``counting`` is how an interval's days are counted. ``step``, ``who``
    and ``lasting`` say when, by whom and how long something is done. ``days`` are the first and
    last day of use of the ``lots``. ``rows`` are a table of area, operation and methods.
    """

    name: str
    shape: Shape
    ref: RuleRef
    says: str
    read: Read
    when: Condition = ()
    span: Span = Span()
    mandatory: bool = True
    inclusive: bool = True
    basis: Basis = Basis.PRODUCT
    most: Quantity | None = None
    least: Quantity | None = None
    per: Quantity | None = None
    per_what: str = ""
    measure: str = ""
    same: str = ""
    within: str = ""
    words: tuple[str, ...] = ()
    allowed: tuple[tuple[str, tuple[str, ...]], ...] = ()
    expects: bool | None = None
    blocks: bool = False
    exceptions: str = ""
    below_breaks: bool = False
    of: str = "treated"
    also_per: Quantity | None = None
    also_per_what: str = ""
    rolling: Quantity | None = None
    season: tuple[int, int, int, int] | None = None
    across: str = "product"
    counting: str = "date plus"
    step: str = ""
    who: str = ""
    lasting: Quantity | None = None
    days: Span = Span()
    lots: tuple[str, ...] = ()
    rows: tuple[tuple[str, str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Requirement:
    """A field that a record must hold: any one group of fields, all fields of that group.

    ``elsewhere`` are lists of the firm that stand in for the field. The rest says how it must be
    said: with one of ``words``, in one of ``units``, in at most ``longest`` characters, without
    the ``refused`` words and not in the ways of ``not_as``. ``supersedes`` names rules that give
    way to this one, as ``name`` or ``us-federal/name``.
    """

    name: str
    groups: tuple[tuple[str, ...], ...]
    ref: RuleRef
    says: str
    read: Read
    when: Condition = ()
    span: Span = Span()
    blocks: bool = False
    elsewhere: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    longest: int | None = None
    refused: tuple[str, ...] = ()
    not_as: tuple[str, ...] = ()
    supersedes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Deadline:
    """A clock of the law: what must be done by when.

    ``about`` is ``record``, ``handover``, ``paper``, ``notice`` (to an authority), ``request`` or
    ``training`` (how long a training holds: the work comes within that time of it);
    ``counted_from`` what starts the clock; ``who`` must do it and ``to`` whom; ``grace`` are words
    of the law that soften it. ``within`` may be in ``business day``; 0 day is the same day.
    """

    name: str
    what: str
    within: Quantity
    ref: RuleRef
    read: Read
    when: Condition = ()
    span: Span = Span()
    about: str = "record"
    counted_from: str = "application"
    who: str = ""
    to: str = ""
    grace: str = ""
    supersedes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Retention:
    """How long a record is kept, and what the years are counted from; the longest wins.

    ``about`` names the sorts of record it speaks of (``grammar.RECORDS``).
    """

    name: str
    years: int
    counted_from: str
    ref: RuleRef
    read: Read
    span: Span = Span()
    when: Condition = ()
    of: str = ""
    supersedes: tuple[str, ...] = ()
    about: tuple[str, ...] = ("application",)


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper for the customer or the people of the house: when, to whom, what it must say.

    ``at`` is the moment (before the work, on completion, ...); ``within`` a clock after it.
    ``statement`` is the fixed wording of the law where its words were read, else empty.
    """

    name: str
    at: str
    to: str
    says: str
    ref: RuleRef
    read: Read
    fields: tuple[str, ...] = ()
    within: Quantity | None = None
    statement: str = ""
    waiver: str = ""
    electronic: str = ""
    when: Condition = ()
    span: Span = Span()


@dataclass(frozen=True, slots=True)
class Incident:
    """What must be told when something goes wrong: any of ``more_than`` is the threshold."""

    name: str
    what: str
    within: Quantity | None
    to: str
    says: str
    ref: RuleRef
    read: Read
    more_than: tuple[Quantity, ...] = ()
    how: str = ""
    span: Span = Span()


@dataclass(frozen=True, slots=True)
class Dormant:
    """A rule that stands in the books and does not apply: superseded, or not enforced."""

    section: str
    why: str
    says: str
    ref: RuleRef
    read: Read


@dataclass(frozen=True, slots=True)
class ReportDuty:
    """A report that is owed: which form, how often, when, to whom, and whether nil counts.

    ``postmark`` says that the law counts the day of the postmark as the day of delivery.
    ``due_read`` is false where the law asks for the report and its due day was not read: then
    ``due_day`` says nothing, and nothing is ever late.
    """

    name: str
    form: str
    every: str
    due_day: int
    due_month: int | None
    due_rule: str
    per: str
    nil: bool
    ref: RuleRef
    read: Read
    span: Span = Span()
    postmark: bool = False
    due_read: bool = True


@dataclass(frozen=True, slots=True)
class Unread:
    """A part of the law that was not read: shown, never passed."""

    section: str
    note: str
    ref: RuleRef


@dataclass(frozen=True)
class Example:
    """A rule file's own example: a line in day-sheet words and the findings it must give.

    ``before`` are earlier lines at the same site. ``expect`` lists ``kind name`` of every breach,
    missing and unknown finding of this file's own rules; an empty list means none. ``recorded``
    is when the record was written, at the site; then each clock that ran out is ``late``. ``work``
    is the firm's line of work; ``papers`` are the file's papers that are owed for the line (None
    does not ask), ``kept_until`` the first day on which its rules let the record go. ``filed`` is
    the day on which the report of the line's period was delivered, ``posted`` its postmark; then
    each report that came too late is ``late``. With ``in_doubt`` nobody has said yet whether the
    site is another one that is known.
    """

    name: str
    line: dict[str, str]
    before: tuple[dict[str, str], ...]
    expect: tuple[str, ...]
    ref: RuleRef
    recorded: datetime | None = None
    work: str = "structural"
    papers: tuple[str, ...] | None = None
    kept_until: date | None = None
    filed: date | None = None
    posted: date | None = None
    in_doubt: bool = False


@dataclass(frozen=True)
class RuleFile:
    """One rule file: label, jurisdiction or practice."""

    family: str
    id: str
    title: str
    path: str
    digest: str
    checked_on: date
    stale_after_months: int
    sources: tuple[Source, ...]
    limits: tuple[Limit, ...] = ()
    requirements: tuple[Requirement, ...] = ()
    deadlines: tuple[Deadline, ...] = ()
    retentions: tuple[Retention, ...] = ()
    reports: tuple[ReportDuty, ...] = ()
    unread: tuple[Unread, ...] = ()
    examples: tuple[Example, ...] = ()
    product: Product | None = None
    state: str = ""
    time_zone: str = ""
    counties: tuple[tuple[str, str], ...] = ()
    site_codes: tuple[tuple[str, str], ...] = ()
    lasts: str = ""
    papers: tuple[Paper, ...] = ()
    incidents: tuple[Incident, ...] = ()
    dormant: tuple[Dormant, ...] = ()

    @property
    def orders(self) -> tuple[Requirement | Deadline | Retention, ...]:
        """The rules that may give way to others, or have others give way."""
        return (*self.requirements, *self.deadlines, *self.retentions)

    def gone_by(self, order: Requirement | Deadline | Retention) -> frozenset[tuple[str, str]]:
        """Return what one of these rules supersedes, as file id and name."""
        parts = (text.rpartition("/") for text in order.supersedes)
        return frozenset((home or self.id, name) for home, _, name in parts)
