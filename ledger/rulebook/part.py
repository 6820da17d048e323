"""One table of a rule file, read key by key; every fault is kept with the line of its key."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from difflib import get_close_matches
from fractions import Fraction
from typing import Any

from ledger.numbers import read_number, read_quantity
from ledger.rulebook.grammar import TABLES, Keys
from ledger.rulebook.model import Source
from ledger.rulebook.paths import join_path, line_of
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.dated import Span
from ledger.values.finding import Fault, RuleRef
from ledger.values.lexicon import Words, fold
from ledger.values.origin import Origin

FIRST_YEAR, LAST_YEAR = 1900, 2200
KeysFor = Callable[[Mapping[str, Any]], Keys]
SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_QUANTITY = re.compile(r"\s*([^A-Za-z%#]*)(.*?)\s*", re.DOTALL)
_NUMBERS = re.compile(r"\[\d+\]")


def kind_of(value: object) -> str:
    """Return the name that a person who edits a file would give to this sort of value."""
    names: tuple[tuple[type | tuple[type, ...], str], ...] = (
        (bool, "true or false"),
        (str, "text"),
        (int, "a whole number"),
        (datetime, "a date with a time"),
        (date, "a date"),
        (Mapping, "a table"),
        (list, "a list"),
    )
    return next((name for sort, name in names if isinstance(value, sort)), "a number")


def listed(words: Iterable[str]) -> str:
    """Return words as a message lists them."""
    return ", ".join(words)


def printable(text: str, most: int) -> str:
    """Return a text as one line of moderate length: a file may hold anything between quotes."""
    shown = "".join(mark if mark.isprintable() else " " for mark in text[:most])
    return shown if len(text) <= most else f"{shown} ..."


class Page:
    """One file while it is read: where its keys stand, what it may name, and its faults."""

    def __init__(
        self, path: str, digest: str, lines: Mapping[str, int], units: Units, words: Words | None
    ) -> None:
        self.path = path
        self.digest = digest
        self.lines = lines
        self.units = units
        self.words = words
        self.faults: list[Fault] = []
        self.sources: dict[str, Source] = {}
        self.used: set[str] = set()
        self.checked_on: date | None = None
        self.words_sure = True
        self.counties: tuple[str, ...] = ()
        self.names: dict[str, str] = {}
        self.findable: set[str] = set()

    def fault(self, path: str, code: str, what: str, way_out: str = "") -> None:
        """Keep a fault at the line of ``path``."""
        line = line_of(self.lines, path)
        said, out = printable(what, 400), printable(way_out, 1200)
        self.faults.append(Fault(code, Origin(self.path, line, path or None), said, out))


class Part:
    """One table of a page. Reading a key that is absent or faulty gives an empty value."""

    def __init__(self, page: Page, table: Mapping[str, Any], path: str, keys: Keys) -> None:
        self.page = page
        self.table = table
        self.path = path
        allowed = keys.allowed
        unknown = [key for key in table if key not in allowed]
        meant = set()
        for key in unknown:
            near = get_close_matches(key.replace("-", "_").lower(), keys.allowed, n=1)
            meant.update(near)
            self.fault(key, "RULE-UNKNOWN-KEY", *_unknown(key, near, keys))
        self._meant = frozenset(meant)
        for key in keys.needed:
            if not self.means(key):
                way_out = f'add a line "{key} = ..."'
                self.fault("", "RULE-MISSING-KEY", f'the key "{key}" is missing', way_out)

    def at(self, key: str) -> str:
        """Return the path of a key of this table, or of the table itself."""
        return join_path(self.path, key) if key else self.path

    def fault(self, key: str, code: str, what: str, way_out: str = "") -> None:
        """Keep a fault at the line of that key, or of the table."""
        self.page.fault(self.at(key), code, what, way_out)

    def has(self, key: str) -> bool:
        """Whether the table says anything under that key."""
        return key in self.table

    def means(self, key: str) -> bool:
        """Whether the table says something under that key, or misspells it: one message will do."""
        return key in self.table or key in self._meant

    def _typed(self, key: str, sort: type, wanted: str) -> Any:  # noqa: ANN401 - as TOML gave it
        value = self.table.get(key)
        if value is None:
            return None
        # A truth value is no whole number, and a moment is no day, though Python says so.
        exact = type(value) is sort if sort in {int, date} else isinstance(value, sort)
        if exact:
            return value
        way_out = f"write {wanted}"
        if isinstance(value, str) and sort is date:
            way_out = "write the day without quotation marks, as 2026-01-31"
        self.fault(key, "RULE-TYPE", f"{kind_of(value)} where {wanted} belongs", way_out)
        return None

    def text(self, key: str) -> str:
        """Return a text that is not blank, stripped; an empty one where there is none."""
        value = self._typed(key, str, "text in quotation marks")
        if value is not None and not value.strip():
            self.fault(key, "RULE-BLANK", "the text is blank", "write it, or take the line out")
        return " ".join(value.split()) if value else ""

    def whole(self, key: str, least: int = 0, most: int = 1_000_000_000) -> int | None:
        """Return a whole number between two bounds."""
        value: int | None = self._typed(key, int, "a whole number")
        if value is not None and not least <= value <= most:
            way_out = f"write a whole number from {least} to {most}"
            self.fault(key, "RULE-NUMBER", f"{value} is out of bounds", way_out)
            return None
        return value

    def flag(self, key: str, *, default: bool) -> bool:
        """Return true or false."""
        value: bool | None = self._typed(key, bool, "true or false")
        return default if value is None else value

    def day(self, key: str) -> date | None:
        """Return a day."""
        value: date | None = self._typed(key, date, "a day, as 2026-01-31")
        if value is not None and not FIRST_YEAR <= value.year <= LAST_YEAR:
            what = f"{value} lies outside {FIRST_YEAR} to {LAST_YEAR}"
            self.fault(key, "RULE-DATES", what, "correct the year")
            return None
        return value

    def slug(self, key: str) -> str:
        """Return a name of lower-case letters, digits and single hyphens."""
        value = self.text(key)
        if value and not SLUG.fullmatch(value):
            way_out = 'write lower-case letters, digits and single hyphens, as "crack-rate"'
            self.fault(key, "RULE-NAME", f'"{value}" is not a name', way_out)
            return ""
        return value

    def name(self, *, findable: bool = False) -> str:
        """Return this rule's name, unique in its file; a findable one may be expected."""
        value = self.slug("name")
        if value in self.page.names:
            what = f'the name "{value}" is also that of {self.page.names[value]}'
            self.fault("name", "RULE-DUPLICATE", what, "give each rule a name of its own")
        elif value:
            self.page.names[value] = self.path
        if value and findable:
            self.page.findable.add(value)
        return value

    def span(self) -> Span:
        """Return the days for which this table holds, from ``from`` and ``until``."""
        start, end = self.day("from"), self.day("until")
        if start and end and start > end:
            what = f"the last day, {end}, lies before the first, {start}"
            self.fault("until", "RULE-DATES", what, "correct one of the two days")
        self.planned(start)
        return Span(start, end)

    def planned(self, start: date | None) -> None:
        """Refuse a first day after the file was checked, unless it is said to be planned."""
        checked = self.page.checked_on
        sure = self.flag("planned", default=False)
        if start and checked and start > checked and not sure:
            what = f"{start} lies after checked_on ({checked})"
            self.fault("from", "RULE-PLANNED", what, "say so with planned = true, or correct it")

    def phrase(self, key: str, options: Sequence[str], default: str = "") -> str:
        """Return one of a closed list of phrases."""
        value = self.text(key)
        return self.choose(key, value, options) if value else default

    def choose(self, path_key: str, value: str, options: Sequence[str]) -> str:
        """Return ``value`` if it is one of ``options``, else keep a fault."""
        if value in options:
            return value
        near = get_close_matches(fold(value), options, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        way_out = f"{hint}allowed: {listed(options)}"
        self.fault(path_key, "RULE-PHRASE", f'"{value}" is not known here', way_out)
        return ""

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, none blank, none twice."""
        value = self._typed(key, list, 'a list of texts, as ["ants", "spiders"]')
        if value is None:
            return ()
        if not value:
            self.fault(key, "RULE-BLANK", "the list is empty", "name something, or leave it out")
        found: list[str] = []
        for number, item in enumerate(value, start=1):
            spot = f"{self.at(key)}[{number}]"
            if not isinstance(item, str) or not item.strip():
                what = "the text is blank" if isinstance(item, str) else f"{kind_of(item)} here"
                self.page.fault(spot, "RULE-TYPE", what, "write text in quotation marks")
            elif item in found:
                self.page.fault(spot, "RULE-DUPLICATE", f'"{item}" stands twice', "write it once")
            else:
                found.append(" ".join(item.split()))
        return tuple(found)

    def phrases(self, key: str, options: Sequence[str]) -> tuple[str, ...]:
        """Return a list of phrases, each one of a closed list."""
        chosen = (self.choose(key, text, options) for text in self.texts(key))
        return tuple(text for text in chosen if text)

    def words(self, key: str, list_name: str) -> tuple[str, ...]:
        """Return a list of words in the canonical spelling of that list of ``words.toml``."""
        found = (self.known(key, text, list_name) for text in self.texts(key))
        return tuple(dict.fromkeys(text for text in found if text))

    def word(self, key: str, list_name: str) -> str:
        """Return one word in the canonical spelling of its list."""
        text = self.text(key)
        return self.known(key, text, list_name) if text else ""

    def known(self, key: str, text: str, list_name: str) -> str:
        """Return the canonical spelling of ``text``, or keep a fault and return nothing."""
        words = self.page.words
        if words is None or not words.lists.get(list_name):
            return text
        word = words.find(list_name, text)
        if word is None and not self.page.words_sure:
            return text
        if word is None:
            near = words.nearest(list_name, text)
            hint = f'did you mean "{near}"? ' if near else ""
            way_out = f"{hint}else add the word to {list_name} in words.toml"
            self.fault(key, "RULE-WORD", f'"{text}" is not a known {list_name}', way_out)
            return ""
        return word.name

    def number(self, key: str) -> Fraction | None:
        """Return a number written as text, exactly."""
        text = self.text(key)
        return self.exact(key, text) if text else None

    def exact(self, key: str, text: str) -> Fraction | None:
        """Return the number that ``text`` writes, or keep a fault."""
        reading = read_number(text, Origin(self.page.path))
        for fault in reading.faults[:1]:
            self.fault(key, "RULE-NUMBER", fault.what, fault.way_out)
        return reading.value

    def quantity(self, key: str, *dimensions: str) -> Quantity | None:
        """Return a number with its unit, of one of these dimensions."""
        text = self.text(key)
        return self.measured(key, text, *dimensions) if text else None

    def measured(self, key: str, text: str, *dimensions: str) -> Quantity | None:
        """Return the quantity that ``text`` writes, or keep a fault."""
        units = self.page.units
        split = _QUANTITY.fullmatch(text)
        unit = split[2].strip() if split else ""
        wanted = " or ".join(dimensions)
        if not unit:
            way_out = f"write the unit behind it ({wanted})"
            self.fault(key, "RULE-UNIT", f'"{text}" has no unit', way_out)
            return None
        if units.find(unit) is None:
            near = units.nearest(unit)
            way_out = f'did you mean "{near}"?' if near else f"write a unit of {wanted}"
            self.fault(key, "RULE-UNIT", f'"{unit}" is not a known unit', way_out)
            return None
        reading = read_quantity(text, units, Origin(self.page.path))
        for fault in reading.faults[:1]:
            self.fault(key, "RULE-NUMBER", fault.what, fault.way_out)
        found = reading.value
        if found is not None and units.dimension(found.unit) not in dimensions:
            what = f'"{text}" is a {units.dimension(found.unit)}, not a {wanted}'
            self.fault(key, "RULE-DIMENSION", what, f"write a unit of {wanted}")
            return None
        return found

    def part(self, key: str, keys: Keys | None = None) -> Part | None:
        """Return the table under that key."""
        value = self._typed(key, dict, f"a table, as [{self.at(key)}]")
        if value is None:
            return None
        return Part(self.page, value, self.at(key), keys or TABLES[key])

    def parts(self, key: str, keys: KeysFor | Keys | None = None) -> Iterator[Part]:
        """Return the tables of an array of tables, each with its number in the path.

        ``keys`` may be a function of the table, where one key decides what others may stand.
        """
        if key not in self.table:
            return
        path = self.at(key)
        wanted = f"tables, each below a line [[{_NUMBERS.sub('', path)}]]"
        for number, item in enumerate(self._typed(key, list, wanted) or (), start=1):
            spot = f"{path}[{number}]"
            if isinstance(item, Mapping):
                chosen = keys(item) if callable(keys) else keys
                yield Part(self.page, item, spot, chosen or TABLES[key])
            else:
                what = f"{kind_of(item)} where a table belongs"
                self.page.fault(spot, "RULE-TYPE", what, f"write {wanted}")

    def source(self, key: str = "source") -> Source | None:
        """Return the source that this table names, and note that it is used."""
        name = self.text(key)
        if not name:
            return None
        self.page.used.add(name)
        source = self.page.sources.get(name)
        if source is None:
            known = listed(self.page.sources) or "none is declared"
            near = get_close_matches(name, list(self.page.sources), n=1)
            hint = f'did you mean "{near[0]}"? ' if near else ""
            way_out = f"{hint}declare [source.{name}], or use one of: {known}"
            self.fault(key, "RULE-SOURCE-UNKNOWN", f'no source "{name}" in this file', way_out)
        return source

    def ref(self, source: Source | None) -> RuleRef:
        """Return the place of this table, with what it rests on in words."""
        named = ", ".join(filter(None, (source.title, source.section))) if source else ""
        read = source.read.value if source else ""
        line = line_of(self.page.lines, self.path)
        return RuleRef(self.page.path, line, self.path, named, read)


def _unknown(key: str, near: Sequence[str], keys: Keys) -> tuple[str, str]:
    """Return what is wrong with an unknown key, and the way out."""
    what = f'unknown key "{key}"'
    allowed = f"allowed: {listed(keys.allowed)}"
    if near:
        return what, f'did you mean "{near[0]}"? {allowed}'
    homes = [kind for kind, other in TABLES.items() if key in other.allowed]
    hint = f'"{key}" belongs to: {listed(homes)}; ' if homes else ""
    return what, hint + allowed
