"""The rule files of a workspace together: which of them are in force on a day."""

from __future__ import annotations

import calendar
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from ledger.rulebook.firm import NO_FIRM
from ledger.rulebook.model import RuleFile
from ledger.units import Units
from ledger.values.finding import Fault
from ledger.values.firm import Firm
from ledger.values.later import Later
from ledger.values.lexicon import Lexicon, PlaceOfLaw, Words, fold
from ledger.values.product import Product

if TYPE_CHECKING:
    from ledger.rulebook.form_model import Form

FEDERAL = "us-federal"


def listing_of(texts: Mapping[str, bytes]) -> bytes:
    """Return the canonical list of files: a line ``SHA-256, two spaces, path`` for each path.

    Sorted by path, UTF-8, ended by line feeds: the form that ``sha256sum`` prints and checks.
    """
    digests = {path: hashlib.sha256(data).hexdigest() for path, data in texts.items()}
    return "".join(f"{digests[path]}  {path}\n" for path in sorted(digests)).encode("utf-8")


def months_after(day: date, months: int) -> date:
    """Return the same day of the month that many months later, or that month's last day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


@dataclass(frozen=True)
class Book:
    """Every rule file that could be read, the faults of those that could not.

    ``texts`` keeps the bytes of every file by path, broken ones too, so that the same book can
    be read again from them; ``digest`` is the SHA-256 (hex) of their canonical list. ``doubtful``
    maps id and registration of each label that could not be read to its path. ``firm`` is
    :data:`~ledger.rulebook.firm.NO_FIRM` where its file is absent or has faults. ``memory`` is
    what pure functions of the book remember as long as the book is held. In a book that was read
    lazily, jurisdictions and forms are read when they are asked for, and ``states`` maps each
    state to its jurisdiction's id.
    """

    labels: tuple[RuleFile, ...]
    jurisdictions: Sequence[RuleFile]
    practices: tuple[RuleFile, ...]
    forms: Sequence[Form]
    words: Words
    units: Units
    firm: Firm = NO_FIRM
    texts: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    faults: tuple[Fault, ...] = ()
    doubtful: Mapping[str, str] = field(default_factory=dict)
    states: Mapping[str, str] = field(default_factory=dict)
    digest: str = field(init=False)
    memory: dict[Any, Any] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        listing = listing_of(self.texts)
        object.__setattr__(self, "digest", hashlib.sha256(listing).hexdigest())

    def rule_files(self) -> tuple[RuleFile, ...]:
        """Return labels, jurisdictions and practices, in that order."""
        return (*self.labels, *self.jurisdictions, *self.practices)

    def versions(self, product: str) -> tuple[RuleFile, ...]:
        """Return every version of a label, by id or registration number, newest first."""
        key = ("versions", product)
        if key not in self.memory:
            wanted = fold(product)
            found = [file for file in self.labels if wanted in _names(file)]
            self.memory[key] = tuple(sorted(found, key=_newness, reverse=True))
        versions: tuple[RuleFile, ...] = self.memory[key]
        return versions

    def label_for(self, product_id: str, day: date, lot: str = "") -> RuleFile | None:
        """Return the label in hand: the version that lists the lot, else the newest in force.

        None where no version is in force on that day, or where a file of that label cannot be
        read, since that file may be the newest.
        """
        versions = self.versions(product_id)
        if lot.strip():
            for file in versions:
                if file.product and file.product.lots and fold(lot) in map(fold, file.product.lots):
                    return file
        if self.doubtful and any(
            name in self.doubtful for file in versions for name in _said_names(file)
        ):
            return None
        for file in versions:
            if file.product and file.product.in_force.holds(day):
                return file
        return None

    def label(self, digest: str) -> RuleFile | None:
        """Return the label version with that digest, or None."""
        return next((file for file in self.labels if file.digest == digest), None)

    def product(self, id_or_registration: str, day: date, lot: str = "") -> Product | None:
        """Return the product by the label in hand, or None where there is no such label."""
        file = self.label_for(id_or_registration, day, lot)
        return file.product if file else None

    def jurisdiction(self, id: str) -> RuleFile | None:  # noqa: A002 - it is the file's own key
        """Return the jurisdiction with that id, or None."""
        if isinstance(self.jurisdictions, Later):
            return self.jurisdictions.get(id)
        return next((file for file in self.jurisdictions if file.id == id), None)

    def laws_of(self, jurisdiction: str) -> tuple[RuleFile, ...]:
        """Return the laws that hold in a jurisdiction: the federal ones, then its own."""
        wanted = dict.fromkeys((FEDERAL, jurisdiction))
        return tuple(file for id in wanted if (file := self.jurisdiction(id)))  # noqa: A001 - as above

    def form(self, id: str) -> Form | None:  # noqa: A002 - it is the file's own key
        """Return the form with that id, or None."""
        if isinstance(self.forms, Later):
            return self.forms.get(id)
        return next((form for form in self.forms if form.id == id), None)

    def lexicon(self, day: date | None = None) -> Lexicon:
        """Return what step 2 looks words up in.

        Every version of every label is in ``products``; of each label the one in force on
        ``day`` comes first, then the others, newest first (without a day: newest first).
        """
        if ("lexicon", day) not in self.memory:
            self.memory["lexicon", day] = self._lexicon(day)
        found: Lexicon = self.memory["lexicon", day]
        return found

    def _lexicon(self, day: date | None) -> Lexicon:
        products = tuple(self._products(day))
        return Lexicon(self.firm, self.words, products, self._places(), self.doubtful)

    def _places(self) -> Sequence[PlaceOfLaw]:
        if self.states:
            of = {state: partial(self._place_of, id) for state, id in self.states.items()}  # noqa: A001 - as above
            return Later(of)
        return tuple(place_of(file) for file in self.jurisdictions if file.state)

    def _place_of(self, id: str) -> PlaceOfLaw | None:  # noqa: A002 - it is the file's own key
        file = self.jurisdiction(id)
        return place_of(file) if file else None

    def _products(self, day: date | None) -> Iterator[Product]:
        for id in dict.fromkeys(file.id for file in self.labels):  # noqa: A001 - as above
            products = [file.product for file in self.versions(id) if file.product]
            if day is not None:
                products.sort(key=lambda product: not product.in_force.holds(day))
            yield from products

    def stale(self, on: date) -> tuple[RuleFile, ...]:
        """Return the files that nobody has compared with their sources for too long."""
        return tuple(
            file
            for file in self.rule_files()
            if months_after(file.checked_on, file.stale_after_months) < on
        )


def place_of(file: RuleFile) -> PlaceOfLaw:
    """Return what normalising needs of a jurisdiction."""
    return PlaceOfLaw(
        file.id, file.state, file.title, file.time_zone, file.counties, file.site_codes
    )


def _said_names(file: RuleFile) -> tuple[str, ...]:
    registration = file.product.registration if file.product else None
    return (file.id, registration) if registration else (file.id,)


def _names(file: RuleFile) -> frozenset[str]:
    return frozenset(map(fold, _said_names(file)))


def _newness(file: RuleFile) -> tuple[date, str]:
    """Order versions by their first day; one without a day has always been."""
    start = file.product.in_force.start if file.product else None
    return start or date.min, file.product.version if file.product else ""
