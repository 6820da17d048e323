"""The planned line: read as a day sheet's line is read, judged as a recorded one is judged."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.normalise.line import Normalised, normalise_line
from ledger.normalise.sites import FindSite, SiteAsk
from ledger.rulebook.book import Book
from ledger.values.draft import APPLICATION_HEADINGS, Draft
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind, RuleRef
from ledger.values.lexicon import Lexicon
from ledger.values.origin import Cell, Origin
from ledger.values.site import Address, Site

WISH = "the plan"
"""What stands for a file name where a fault of the plan is told."""

PROBE = "0.1 oz"
"""An amount with which any product's line can be read: the formulation says which ounce it is."""

SMALLEST_MIX = "1 fl oz"
"""The smallest amount of finished mix that is asked about."""


@dataclass(frozen=True, slots=True)
class Said:
    """One statement with its sources; ``settle`` is the answer that would settle a doubt."""

    text: str
    sources: tuple[str, ...] = ()
    settle: str = ""


def source_text(ref: RuleRef) -> str:
    """Return a rule as it is cited: file and line, the label or law, how well it was read."""
    read = f", {ref.confidence}" if ref.confidence else ""
    return f"{ref.file}:{ref.line} {ref.source}{read}"


def said_of(finding: Finding) -> Said:
    """Return a finding as a statement."""
    sources = tuple(source_text(ref) for ref in finding.rules)
    return Said(finding.text, sources, settle_of(finding))


_OPTIONS = {"avoided", "prepared", "extent", "places", "setting", "method", "pests", "wind",
            "temperature", "rain", "dilution", "amount", "supervisor", "applicator", "notice",
            "site kind", "equipment", "lot", "product", "date", "county", "customer"}  # fmt: skip


def settle_of(finding: Finding) -> str:
    """Return how a person answers before the job what an amendment answers after it."""
    text = finding.way_out.replace("amend ", "say ")
    if finding.column not in _OPTIONS or finding.kind not in {Kind.UNKNOWN, Kind.MISSING}:
        return text
    option = f"--{finding.column.replace(' ', '-')}"
    return f"{text} ({option})" if text else f"say {option}"


@dataclass(frozen=True, slots=True)
class Judged:
    """A planned line as it would be recorded, with every finding of it."""

    use: Application
    findings: tuple[Finding, ...]

    def of(self, *kinds: Kind) -> tuple[Finding, ...]:
        """Return the findings of these kinds, in order."""
        return tuple(finding for finding in self.findings if finding.kind in kinds)

    @property
    def breaks(self) -> bool:
        """Whether the line breaks a rule."""
        return any(finding.kind is Kind.BREACH for finding in self.findings)

    @property
    def doubts(self) -> frozenset[tuple[str, str]]:
        """What cannot be told: code and name of each such finding."""
        return frozenset((found.code, found.name) for found in self.of(Kind.UNKNOWN))


def _nowhere(_address: Address) -> None:
    return None


@dataclass
class Stage:
    """What a plan is made on: the rules, how sites are found, what was done at each, the wish.

    ``cells`` is the wish by the headings of a day sheet, as a person would write it. ``find_site``
    and ``uses_at`` only look up: nothing is made; ``known_at`` is the site of exactly that address,
    where the ledger knows it. ``mates`` are the other planned lines of the
    same tank; ``filled`` says which cells were taken from the records of the site.
    """

    book: Book
    lexicon: Lexicon
    find_site: FindSite
    uses_at: Callable[[str], Sequence[Application]]
    cells: Mapping[str, str]
    site: Site | None = None
    others: tuple[Application, ...] = field(default=())
    known_at: Callable[[Address], Site | None] = _nowhere
    mates: tuple[Application, ...] = ()
    filled: tuple[Said, ...] = ()

    def read(self, **changes: str) -> Normalised:
        """Return the planned line with some cells changed, as understood."""
        return normalise_line(self.draft(**changes), self.lexicon, self.book.units, self._find)

    def draft(self, **changes: str) -> Draft:
        """Return the planned line with some cells changed, as a row of a sheet."""
        cells = {**self.cells, **changes}
        filled = {name: cells[name] for name in APPLICATION_HEADINGS if cells.get(name)}
        given = {name: Cell(text, Origin(WISH, None, name)) for name, text in filled.items()}
        return Draft(Origin(WISH), given, filled)

    def _find(self, ask: SiteAsk) -> Site | None:
        found = self.find_site(ask)
        if found is not None and found is not self.site:
            self.site = found
            self.others = tuple(self.uses_at(found.key))
        return found

    def case(self, use: Application, *more: Application) -> Case:
        """Return the case of an application, with its tank, all others at its site, and more."""
        assert self.site is not None  # reading the line found it
        product = self.book.product(use.product, use.date, use.lot) if use.label else None
        others = (*self.others, *self.mates, *more)
        return Case(use, product, self.site, self.book.firm, self.book.words, others)

    def judge(self, use: Application, *more: Application) -> Judged:
        """Return an application judged with all others at its site and some more."""
        return Judged(use, judge(self.case(use, *more), self.book))

    def judged(self, **changes: str) -> Judged | None:
        """Return the planned line with some cells changed, judged; None where it is unreadable."""
        read = self.read(**changes)
        return None if read.application is None else self.judge(read.application)
