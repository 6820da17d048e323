"""One line of a day sheet, understood: a draft and the words at hand into an application.

Everything that is wrong with the line comes out at once, each fault at its cell. Only core facts
hold a line (who, where, when, which product, how much); a word that is not known, a weather that
cannot be read, an extent that says nothing stay as typed with a remark.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from ledger.normalise.counted import counted
from ledger.normalise.dates import Hours, changes_of_clock, read_date, read_hours
from ledger.normalise.dosing import Dose, read_dose
from ledger.normalise.extents import read_extent
from ledger.normalise.identity import held_identity, identity_of, key_of, own_key, visit_of
from ledger.normalise.lists import read_avoided, read_prepared
from ledger.normalise.people import Duty, read_licence, read_person
from ledger.normalise.products import Named, read_product
from ledger.normalise.recall import Recall
from ledger.normalise.sites import FindSite, Place, SiteAsk, locate, read_place
from ledger.normalise.text import clean, remark, text_faults
from ledger.normalise.weather import read_weather
from ledger.normalise.words import read_word, read_words
from ledger.units import Units
from ledger.values.draft import Draft
from ledger.values.entry import Application, Weather
from ledger.values.extent import Extent
from ledger.values.finding import Fault, Finding
from ledger.values.firm import Firm, Person
from ledger.values.lexicon import Lexicon, Words, fold
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
    recall: Recall
    faults: list[Fault] = field(default_factory=list)
    remarks: list[Finding] = field(default_factory=list)
    spoilt: frozenset[str | None] = frozenset()
    texts: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.faults = [*self.draft.faults, *text_faults(self.draft)]
        self.spoilt = frozenset(fault.origin.column for fault in self.faults)
        for heading, item in self.draft.cells.items():
            self.texts[heading] = clean(item.text)
            if not item.restored or heading in _STORED:
                continue
            if item.origin.row == self.draft.origin.row:
                self.remarks.append(remark("RESTORED", heading, item.restored))

    def text(self, heading: str) -> str:
        """Return the clean text under that heading, or an empty string."""
        return self.texts.get(heading, "")

    def blame(self, faults: tuple[Fault, ...]) -> None:
        """Add faults, except of cells that are spoilt already."""
        if faults:
            self.faults.extend(f for f in faults if f.origin.column not in self.spoilt)

    def take(self, reading: Reading[T], column: str) -> T | None:
        """Return the value of a reading; keep its faults and remarks."""
        self.blame(reading.faults)
        if reading.remarks:
            self.remarks.extend(remark("READ-AS", column, text) for text in reading.remarks)
        return reading.value

    def keep(self, pair: tuple[T, tuple[Finding, ...]]) -> T:
        """Return the first of a value and its remarks; keep the remarks."""
        if pair[1]:
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
    notes = _Notes(draft, lexicon.memory.setdefault("lines", Recall()))
    day = notes.take(_date(notes, lexicon.firm), "date")
    person = notes.take(_person(notes, "applicator", lexicon.firm), "applicator")
    number = notes.text("line")
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


def _date(notes: _Notes, firm: Firm) -> Reading[date]:
    draft, text = notes.draft, notes.text("date")
    return notes.recall.reading(
        ("date", text), lambda: read_date(text, firm.month_first, draft.at("date"))
    )


def _person(notes: _Notes, column: str, firm: Firm) -> Reading[Person]:
    draft, text = notes.draft, notes.text(column)
    return notes.recall.reading(("person", text), lambda: read_person(text, firm, draft.at(column)))


def _hours(notes: _Notes) -> Reading[Hours]:
    draft = notes.draft
    start, end = notes.text("start"), notes.text("end")
    return notes.recall.reading(
        ("hours", start, end),
        lambda: read_hours(start, end, draft.at("start"), draft.at("end")),
    )


def _word(notes: _Notes, column: str, list_name: str, words: Words) -> str:
    text = notes.text(column)
    key = ("word", column, text)
    return notes.keep(notes.recall.value(key, lambda: read_word(text, list_name, column, words)))


def _words(notes: _Notes, column: str, list_name: str, words: Words) -> tuple[str, ...]:
    text = notes.draft.text(column)
    key = ("words", column, text)
    return notes.keep(notes.recall.value(key, lambda: read_words(text, list_name, column, words)))


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
    if not notes.text("applicator"):
        notes.blame((Fault(
            "PERSON-MISSING", draft.at("applicator"), "no applicator",
            "write the key or licence number of the person who applied",
        ),))  # fmt: skip
    hours = notes.take(_hours(notes), "start")
    supervisor = notes.take(_person(notes, "supervisor", lexicon.firm), "supervisor")
    kind = _word(notes, "site kind", "site_kind", lexicon.words)
    place = _place(notes, lexicon, kind)
    notes.blame(place.faults)
    notes.remarks.extend(place.remarks)
    named = notes.take(_product(notes, lexicon, day), "product")
    dose = notes.take(_dose(notes, named, units, (lexicon.firm, day)), "amount")
    people, site = _who_and_where(notes, lexicon, find_site, place, (day, person, supervisor))
    if day is None or hours is None or people is None or site is None:
        return None
    if named is None or dose is None or place.ask is None:
        return None
    county = site.county or place.ask.county
    return _Core(day, hours, people, site, county, kind or site.kind, named, dose)


_PLACE = ("site", "address", "unit", "city", "state", "zip", "county")


def _place(notes: _Notes, lexicon: Lexicon, kind: str) -> Place:
    draft = notes.draft
    typed = tuple(bool(draft.typed.get(name, "").strip()) for name in ("site", "address", "county"))
    key = ("place", kind, typed, *(notes.text(name) for name in _PLACE))
    restored = any(draft.cells[name].restored for name in _PLACE if name in draft.cells)

    def read() -> Reading[Place]:
        place = read_place(draft, lexicon, kind)
        return Reading(place, place.faults)

    found = (read() if restored else notes.recall.reading(key, read)).value
    assert found is not None  # a place is always read, with its faults if it has any
    return found


def _product(notes: _Notes, lexicon: Lexicon, day: date | None) -> Reading[Named]:
    draft = notes.draft
    text, lot = notes.text("product"), notes.text("lot")
    return notes.recall.reading(
        ("product", text, lot, day),
        lambda: read_product(text, lot, day, lexicon, draft.at("product")),
    )


def _dose(
    notes: _Notes, named: Named | None, units: Units, known: tuple[Firm, date | None]
) -> Reading[Dose]:
    draft, (firm, day) = notes.draft, known
    if named is None:
        return read_dose(draft, named, units, firm, day)
    texts = tuple(notes.text(name) for name in ("amount", "basis", "dilution", "equipment"))
    label = named.product.digest if named.product else ""
    # Only a counted amount rests on the day: on the tool's newest weighing.
    key = ("dose", named.key, label, texts, day if counted(texts[0]) else None)
    return notes.recall.reading(key, lambda: read_dose(draft, named, units, firm, day))


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
    text = notes.text(column)
    reading = notes.recall.reading(
        ("licence", person.key, text, duty),
        lambda: read_licence(text, person, duty, notes.draft.at(column)),
    )
    return notes.take(reading, column)


def _application(notes: _Notes, core: _Core, lexicon: Lexicon, units: Units) -> Application:
    """Return the application of a line whose core facts are all understood."""
    draft, words, site = notes.draft, lexicon.words, core.site
    product, hours, people = core.named.product, core.hours, core.people
    clock = notes.recall.value(
        ("clock", core.day, hours, site.time_zone),
        lambda: tuple(changes_of_clock(core.day, hours, site.time_zone)),
    )
    for column, said in clock:
        way_out = "say in the note which of the two hours it was, or correct the time"
        notes.remarks.append(remark("TIME-CHANGE", column, said, way_out))
    text = draft.text("avoided")
    avoided, avoided_said, said_avoided = notes.recall.value(
        ("avoided", text), lambda: read_avoided(text, words, units, draft.at("avoided"))
    )
    done = draft.text("prepared")
    prepared, prepared_said, said_prepared = notes.recall.value(
        ("prepared", done), lambda: read_prepared(done, words)
    )
    notes.remarks.extend((*said_avoided, *said_prepared))
    codes = notes.recall.value(
        ("codes", site.jurisdiction), lambda: _site_codes(lexicon, site.jurisdiction)
    )
    start = hours.start.isoformat("minutes") if hours.start else ""
    return Application(
        date=core.day, start=hours.start, end=hours.end, end_day=hours.end_day,
        applicator=people.applicator.key, licence=people.licence,
        supervisor=people.supervisor.key if people.supervisor else "",
        supervisor_licence=people.supervisor_licence,
        customer=notes.text("customer"), customer_address=notes.text("customer address"),
        site=site.key, jurisdiction=site.jurisdiction, county=core.county, site_kind=core.kind,
        site_code=codes.get(lexicon.firm.work, ""),
        product=core.named.id, product_key=core.named.key,
        product_name=product.name if product else core.named.id,
        label=product.digest if product else "",
        amount=core.dose.amount, used=core.dose.used, dilution=core.dose.dilution,
        mix_group=notes.text("mix"), lot=notes.text("lot"), line=notes.text("line"),
        method=_word(notes, "method", "method", words),
        setting=_word(notes, "setting", "setting", words),
        places=_words(notes, "places", "place", words),
        pests=_words(notes, "pests", "pest", words),
        avoided=avoided, avoided_said=avoided_said,
        prepared=prepared, prepared_said=prepared_said,
        extent=_extent(notes, units), equipment=_tool(notes, lexicon),
        weather=_weather(notes, units),
        notice=_word(notes, "notice", "notice", words),
        note=notes.text("note"),
        visit=visit_of(core.day.isoformat(), start, people.applicator.key, site.key),
    )  # fmt: skip


def _site_codes(lexicon: Lexicon, jurisdiction: str) -> dict[str, str]:
    """Return the regulator's code of each line of work in a jurisdiction."""
    law = lexicon.place(jurisdiction)
    return dict(law.site_codes) if law else {}


def _weather(notes: _Notes, units: Units) -> Weather:
    draft = notes.draft
    key = ("weather", *(notes.text(name) for name in ("temperature", "wind", "rain")))
    return notes.keep(notes.recall.value(key, lambda: read_weather(draft, units)))


def _extent(notes: _Notes, units: Units) -> Extent:
    """Return the extent; what cannot be measured stays as written, with a remark."""
    text = notes.text("extent")
    if not text:
        return Extent("")
    reading = notes.recall.reading(
        ("extent", text), lambda: read_extent(text, units, notes.draft.at("extent"))
    )
    notes.remarks.extend(remark("READ-AS", "extent", said) for said in reading.remarks)
    if reading.value is not None and not reading.faults:
        return reading.value
    for fault in reading.faults:
        notes.remarks.append(remark(fault.code, "extent", fault.what, fault.way_out))
    return Extent(text)


def _tool(notes: _Notes, lexicon: Lexicon) -> str:
    """Return the key of the tool, or the text as typed with a remark."""
    text = notes.text("equipment")
    if not text:
        return ""
    keys = notes.recall.value(
        ("tools",), lambda: {fold(tool.key): tool.key for tool in lexicon.firm.tools}
    )
    if fold(text) in keys:
        return keys[fold(text)]
    known = ", ".join(keys.values()) or "none yet"
    said = f'"{text}" is not a tool of this workspace; kept as written'
    notes.remarks.append(remark("TOOL-UNKNOWN", "equipment", said, f"the known ones: {known}"))
    return text
