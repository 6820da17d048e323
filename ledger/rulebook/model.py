"""What a rule file says, as frozen values. The grammar makes them, the checks read them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from fractions import Fraction

from ledger.values.amount import Basis, Quantity
from ledger.values.dated import Span
from ledger.values.finding import Kind, RuleRef
from ledger.values.product import Product


class Read(StrEnum):
    """How well a source was read. Only the first four can decide; the rest inform."""

    REGULATION = "read in the regulation text"
    SUMMARY = "read in an agency or extension summary"
    LABEL = "label in hand"
    PRACTICE = "common practice, no source"
    MEMORY = "from memory, not verified"
    INFERRED = "inferred, not verified"

    @property
    def decides(self) -> bool:
        """Whether a rule on such a source may find a breach or something missing."""
        return self not in {Read.MEMORY, Read.INFERRED}


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


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a label, a law or a practice, for the days of ``span``.

    ``most`` and ``least`` bound the measure; ``per`` and ``per_what`` are the denominator
    (Quantity 100 ft and "length"; 10 each and "voids"; 1 each and "dwellings"). ``words`` are the
    traits, places, preparations, ingredients or answers that the shape is about; ``allowed`` is
    the table of an ``allowed`` shape (heading to permitted words). ``same`` is ``place`` or
    ``address`` and ``within`` a window ("calendar year") for shapes that count over time.
    ``mandatory`` false makes its finding advice.
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


@dataclass(frozen=True, slots=True)
class Requirement:
    """A field that a record must hold: any one group of fields, all fields of that group."""

    name: str
    groups: tuple[tuple[str, ...], ...]
    ref: RuleRef
    says: str
    read: Read
    when: Condition = ()
    span: Span = Span()
    blocks: bool = False


@dataclass(frozen=True, slots=True)
class Deadline:
    """A clock of the law: what must be done by when, counted from the application."""

    name: str
    what: str
    within: Quantity
    ref: RuleRef
    read: Read
    when: Condition = ()
    span: Span = Span()


@dataclass(frozen=True, slots=True)
class Retention:
    """How long a record is kept, and what the years are counted from."""

    name: str
    years: int
    counted_from: str
    ref: RuleRef
    read: Read
    span: Span = Span()


@dataclass(frozen=True, slots=True)
class ReportDuty:
    """A report that is owed: which form, how often, when, to whom, and whether nil counts."""

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
    missing and unknown finding of this file's own rules; an empty list means none.
    """

    name: str
    line: dict[str, str]
    before: tuple[dict[str, str], ...]
    expect: tuple[str, ...]
    ref: RuleRef


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


@dataclass(frozen=True, slots=True)
class FormColumn:
    """One column of a regulator's form: heading, which value fills it, its unit, its meaning."""

    heading: str
    value: str
    meaning: str
    unit: str = ""
    places: int | None = None


@dataclass(frozen=True)
class Form:
    """A report form as a file describes it.

    ``units`` maps a dimension (``mass``, ``volume``) to the units the form allows, the first being
    the one used unless a smaller one reads better; ``counts`` is ``lines`` or ``visits``;
    ``pounds_per_gallon`` and ``round_pounds`` are the form's own arithmetic for liquids.
    """

    id: str
    title: str
    path: str
    digest: str
    jurisdiction: str
    every: str
    per: str
    columns: tuple[FormColumn, ...]
    units: tuple[tuple[str, tuple[str, ...]], ...]
    places: int
    counts: str
    counts_read: Read
    leave_out: tuple[str, ...]
    pounds_per_gallon: Fraction | None
    round_pounds: int | None
    remarks: tuple[str, ...]
    sources: tuple[Source, ...]
    signature: str = ""
    kinds: tuple[Kind, ...] = field(default=())
