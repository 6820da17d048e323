"""One line of a day sheet, understood: a draft and the words at hand into an application.

Everything that is wrong with the line comes out at once, each fault at its cell. Only core facts
hold a line (who, where, when, which product, how much); a word that is not known, a weather that
cannot be read, an extent that says nothing stay as typed with a remark.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from ledger.normalise.dates import Hours, changes_of_clock, read_date, read_hours
from ledger.normalise.dosing import Dose, read_dose
from ledger.normalise.extents import read_extent
from ledger.normalise.identity import held_identity, identity_of, key_of, own_key, visit_of
from ledger.normalise.lists import read_avoided, read_prepared
from ledger.normalise.people import Duty, read_licence, read_person
from ledger.normalise.products import Named, read_product
from ledger.normalise.sites import FindSite, Place, SiteAsk, locate, read_place
from ledger.normalise.text import cell, remark, text_faults
from ledger.normalise.weather import read_weather
from ledger.normalise.words import read_word, read_words
from ledger.units import Units
from ledger.values.draft import Draft
from ledger.values.entry import Application
from ledger.values.extent import Extent
from ledger.values.finding import Fault, Finding
from ledger.values.firm import Person
from ledger.values.lexicon import Lexicon, fold
from ledger.values.reading import Reading
from ledger.values.site import Site

__all__ = ("Normalised", "SiteAsk", "held_identity", "normalise_line", "own_key")

T = TypeVar("T")

_STORED = frozenset({"date", "start", "end"})
"""Columns in which a spreadsheet's own dates and times are no surprise worth a remark."""


@dataclass(frozen=True, slots=True)
class Normalised:
    """A line as understood. ``application`` is None where ``faults`` hold it.

    ``remarks`` are advice on how it was read. ``identity`` is the application's, or that of the
    cells where it is held. ``day`` is its date where that can be read, ``own`` the key
    ``applicator|date|line`` where all three can, held or not.
    """

    draft: Draft
    application: Application | None
    faults: tuple[Fault, ...]
    remarks: tuple[Finding, ...]
    identity: str
    day: date | None = None
    own: str | None = None


@dataclass
class _Notes:
    """Collects what is wrong and what is worth saying while a line is read.

    A cell that the reader of the sheet could not restore, or whose text cannot be kept, has its
    fault already; what follows from reading it anyway is not piled on top.
    """

    draft: Draft
    faults: list[Fault] = field(default_factory=list)
    remarks: list[Finding] = field(default_factory=list)
    spoilt: frozenset[str | None] = frozenset()

    def __post_init__(self) -> None:
        self.faults = [*self.draft.faults, *text_faults(self.draft)]
        self.spoilt = frozenset(fault.origin.column for fault in self.faults)
        for heading, item in self.draft.cells.items():
            if heading in _STORED or not item.restored:
                continue
            if item.origin.row == self.draft.origin.row:
                self.remarks.append(remark("RESTORED", heading, item.restored))

    def blame(self, faults: tuple[Fault, ...]) -> None:
        """Add faults, except of cells that are spoilt already."""
        self.faults.extend(fault for fault in faults if fault.origin.column not in self.spoilt)

    def take(self, reading: Reading[T], column: str) -> T | None:
        """Return the value of a reading; keep its faults and remarks."""
        self.blame(reading.faults)
        self.remarks.extend(remark("READ-AS", column, text) for text in reading.remarks)
        return reading.value

    def keep(self, pair: tuple[T, tuple[Finding, ...]]) -> T:
        """Return the first of a value and its remarks; keep the remarks."""
        self.remarks.extend(pair[1])
        return pair[0]


@dataclass(frozen=True, slots=True)
class _People:
    applicator: Person
    supervisor: Person | None
    licence: str = ""
    supervisor_licence: str = ""


@dataclass(frozen=True, slots=True)
class _Core:
    """The core facts of a line, all understood."""

    day: date
    hours: Hours
    people: _People
    site: Site
    county: str
    kind: str
    named: Named
    dose: Dose


def normalise_line(draft: Draft, lexicon: Lexicon, units: Units, find_site: FindSite) -> Normalised:
    """Return a line as understood, or with every fault that holds it.

    ``find_site`` is asked for a site by address only when nothing else holds the line, because
    the ledger makes a new site of an address it does not know.
    """
    notes = _Notes(draft)
    firm = lexicon.firm
    day = notes.take(read_date(cell(draft, "date"), firm.month_first, draft.at("date")), "date")
    person = notes.take(
        read_person(cell(draft, "applicator"), firm, draft.at("applicator")), "applicator"
    )
    number = cell(draft, "line")
    own = key_of(person.key if person else "", day.isoformat() if day else "", number)
    core = _core(notes, lexicon, units, find_site, (day, person))
    if core is None or notes.faults:
        identity = held_identity(draft)
        return Normalised(
            draft, None, tuple(notes.faults), tuple(notes.remarks), identity, day, own
        )
    app = _application(notes, core, lexicon, units)
    identity = identity_of(app, draft)
    return Normalised(draft, app, (), tuple(notes.remarks), identity, day, own)


def _core(
    notes: _Notes,
    lexicon: Lexicon,
    units: Units,
    find_site: FindSite,
    known: tuple[date | None, Person | None],
) -> _Core | None:
    """Read every core fact, so that all faults come out; None where one is missing."""
    draft = notes.draft
    day, person = known
    if not cell(draft, "applicator"):
        notes.blame((Fault(
            "PERSON-MISSING", draft.at("applicator"), "no applicator",
            "write the key or licence number of the person who applied",
        ),))  # fmt: skip
    hours = notes.take(
        read_hours(cell(draft, "start"), cell(draft, "end"), draft.at("start"), draft.at("end")),
        "start",
    )
    supervisor = notes.take(
        read_person(cell(draft, "supervisor"), lexicon.firm, draft.at("supervisor")), "supervisor"
    )
    kind = notes.keep(read_word(cell(draft, "site kind"), "site_kind", "site kind", lexicon.words))
    place = read_place(draft, lexicon, kind)
    notes.blame(place.faults)
    notes.remarks.extend(place.remarks)
    named = notes.take(
        read_product(cell(draft, "product"), cell(draft, "lot"), day, lexicon, draft.at("product")),
        "product",
    )
    dose = notes.take(read_dose(draft, named, units, lexicon.firm, day), "amount")
    people, site = _who_and_where(notes, lexicon, find_site, place, (day, person, supervisor))
    if day is None or hours is None or people is None or site is None:
        return None
    if named is None or dose is None or place.ask is None:
        return None
    county = site.county or place.ask.county
    return _Core(day, hours, people, site, county, kind or site.kind, named, dose)


def _who_and_where(
    notes: _Notes,
    lexicon: Lexicon,
    find_site: FindSite,
    place: Place,
    known: tuple[date | None, Person | None, Person | None],
) -> tuple[_People | None, Site | None]:
    """Return the people with their licences and the site; both need the other's facts."""
    day, person, supervisor = known
    site: Site | None = None
    ask = place.ask
    if ask is not None and ask.key:  # looking a key up makes no site
        site, faults = locate(notes.draft, ask, find_site)
        notes.blame(faults)
    jurisdiction = site.jurisdiction if site else (ask.jurisdiction if ask else "")
    people: _People | None = None
    if person is not None and day is not None and jurisdiction:
        duty = Duty(jurisdiction, lexicon.firm.work, day)
        licence = _licence(notes, "applicator", person, duty)
        over = _licence(notes, "supervisor", supervisor, duty) if supervisor else ""
        people = _People(person, supervisor, licence or "", over or "")
    if ask is not None and not ask.key and not notes.faults:
        site, faults = locate(notes.draft, ask, find_site)
        notes.blame(faults)
    return people, site


def _licence(notes: _Notes, column: str, person: Person, duty: Duty) -> str | None:
    text = cell(notes.draft, column)
    return notes.take(read_licence(text, person, duty, notes.draft.at(column)), column)


def _application(notes: _Notes, core: _Core, lexicon: Lexicon, units: Units) -> Application:
    """Return the application of a line whose core facts are all understood."""
    draft, words, site = notes.draft, lexicon.words, core.site
    product, hours, people = core.named.product, core.hours, core.people
    for column, said in changes_of_clock(core.day, hours, site.time_zone):
        way_out = "say in the note which of the two hours it was, or correct the time"
        notes.remarks.append(remark("TIME-CHANGE", column, said, way_out))
    avoided, avoided_said, said_avoided = read_avoided(
        draft.text("avoided"), words, units, draft.at("avoided")
    )
    prepared, prepared_said, said_prepared = read_prepared(draft.text("prepared"), words)
    notes.remarks.extend((*said_avoided, *said_prepared))
    law = next((law for law in lexicon.places_of_law if law.id == site.jurisdiction), None)
    start = hours.start.isoformat("minutes") if hours.start else ""
    return Application(
        date=core.day, start=hours.start, end=hours.end, end_day=hours.end_day,
        applicator=people.applicator.key, licence=people.licence,
        supervisor=people.supervisor.key if people.supervisor else "",
        supervisor_licence=people.supervisor_licence,
        customer=cell(draft, "customer"), customer_address=cell(draft, "customer address"),
        site=site.key, jurisdiction=site.jurisdiction, county=core.county, site_kind=core.kind,
        site_code=dict(law.site_codes).get(lexicon.firm.work, "") if law else "",
        product=core.named.id, product_key=core.named.key,
        product_name=product.name if product else core.named.id,
        label=product.digest if product else "",
        amount=core.dose.amount, used=core.dose.used, dilution=core.dose.dilution,
        mix_group=cell(draft, "mix"), lot=cell(draft, "lot"), line=cell(draft, "line"),
        method=notes.keep(read_word(cell(draft, "method"), "method", "method", words)),
        setting=notes.keep(read_word(cell(draft, "setting"), "setting", "setting", words)),
        places=notes.keep(read_words(draft.text("places"), "place", "places", words)),
        pests=notes.keep(read_words(draft.text("pests"), "pest", "pests", words)),
        avoided=avoided, avoided_said=avoided_said,
        prepared=prepared, prepared_said=prepared_said,
        extent=_extent(notes, units), equipment=_tool(notes, lexicon),
        weather=notes.keep(read_weather(draft, units)),
        notice=notes.keep(read_word(cell(draft, "notice"), "notice", "notice", words)),
        note=cell(draft, "note"),
        visit=visit_of(core.day.isoformat(), start, people.applicator.key, site.key),
    )  # fmt: skip


def _extent(notes: _Notes, units: Units) -> Extent:
    """Return the extent; what cannot be measured stays as written, with a remark."""
    text = cell(notes.draft, "extent")
    if not text:
        return Extent("")
    reading = read_extent(text, units, notes.draft.at("extent"))
    notes.remarks.extend(remark("READ-AS", "extent", said) for said in reading.remarks)
    if reading.value is not None and not reading.faults:
        return reading.value
    for fault in reading.faults:
        notes.remarks.append(remark(fault.code, "extent", fault.what, fault.way_out))
    return Extent(text)


def _tool(notes: _Notes, lexicon: Lexicon) -> str:
    """Return the key of the tool, or the text as typed with a remark."""
    text = cell(notes.draft, "equipment")
    keys = {fold(tool.key): tool.key for tool in lexicon.firm.tools}
    if not text or fold(text) in keys:
        return keys.get(fold(text), "")
    known = ", ".join(keys.values()) or "none yet"
    said = f'"{text}" is not a tool of this workspace; kept as written'
    notes.remarks.append(remark("TOOL-UNKNOWN", "equipment", said, f"the known ones: {known}"))
    return text
