"""The firm's own file, ``useledger.toml`` -> :class:`~ledger.values.firm.Firm`."""

from __future__ import annotations

import re
from datetime import date

from ledger.rulebook import grammar
from ledger.rulebook.laws import read_state, read_zone
from ledger.rulebook.part import Part
from ledger.values.dated import Span
from ledger.values.firm import Calibration, Firm, Licence, Person, Registration, Statement, Tool
from ledger.values.lexicon import fold

NO_FIRM = Firm("", "", "", "", "", "", "", "UTC", month_first=True, ratio="1 in N", work="")
"""What stands in for a firm whose file is absent or has faults."""

_HOME = re.compile(r"us-[a-z]{2}")
_ZIP = re.compile(r"\d{5}(-\d{4})?")


def read_firm(root: Part) -> Firm | None:
    """Return the firm, or None where the file has no ``[firm]``."""
    part = root.part("firm")
    people, tools, registrations = _people(root), _tools(root), _registrations(root)
    statements = _statements(root)
    database = root.text("database")
    if part is None:
        return None
    post_code = part.text("zip")
    if post_code and not _ZIP.fullmatch(post_code):
        part.fault("zip", "RULE-ZIP", f'"{post_code}" is not a ZIP code', "write five digits")
    return Firm(
        name=part.text("name"),
        licence=part.text("licence"),
        address=part.text("address"),
        city=part.text("city"),
        state=read_state(part),
        zip=post_code,
        home=_jurisdiction(part, "home"),
        time_zone=read_zone(part),
        month_first=part.phrase("date_order", grammar.DATE_ORDERS) == "month first",
        ratio=part.phrase("ratio", grammar.RATIOS),
        work=part.word("work", "work"),
        telephone=part.text("telephone"),
        registrations=registrations,
        people=people,
        tools=tools,
        database=database,
        keeps=part.phrases("keeps", grammar.FIRM_LISTS),
        statements=statements,
    )


def _jurisdiction(part: Part, key: str) -> str:
    """Return the id of a state's jurisdiction."""
    text = part.text(key)
    if text and not _HOME.fullmatch(text):
        way_out = 'write "us-" and the two letters of the state, as "us-ca"'
        part.fault(key, "RULE-JURISDICTION", f'"{text}" is not a jurisdiction', way_out)
    return text


def _registrations(root: Part) -> tuple[Registration, ...]:
    """Return the registrations; one county and year is registered once."""
    found: list[Registration] = []
    for part in root.parts("registration"):
        county = part.text("county")
        year = part.whole("year", 1990, 2200) or 0
        entry = Registration(_jurisdiction(part, "jurisdiction"), county, year)
        same = (entry.jurisdiction, fold(county), year)
        if same in ((other.jurisdiction, fold(other.county), other.year) for other in found):
            what = f"{county} {year} stands twice"
            part.fault("", "RULE-DUPLICATE", what, "keep one registration")
        found.append(entry)
    return tuple(found)


def _statements(root: Part) -> tuple[Statement, ...]:
    """Return the fixed words of laws; one for each state, or for each county of it."""
    found: list[Statement] = []
    for part in root.parts("statement"):
        place, county = _jurisdiction(part, "jurisdiction"), part.text("county")
        if (place, fold(county)) in ((item.jurisdiction, fold(item.county)) for item in found):
            what = f"a statement for {county or place} stands twice"
            part.fault("", "RULE-DUPLICATE", what, "keep one of them")
        words = part.table["words"] if part.text("words") else ""  # as written: it has paragraphs
        found.append(Statement(place, county, words, part.day("compared_on")))
    return tuple(found)


def _people(root: Part) -> tuple[Person, ...]:
    """Return the people; keys and licence numbers are unique, a supervisor is one of them."""
    keys: dict[str, str] = {}
    numbers: dict[str, str] = {}
    found: list[Person] = []
    for part in root.parts("person"):
        key = _key(part, keys)
        licences = tuple(_licence(row, numbers) for row in part.parts("licence"))
        licensee = part.flag("licensee", default=False)
        supervisor = part.text("supervisor") or None
        found.append(Person(key, part.text("name"), licences, licensee, supervisor))
        for licence in licences:
            numbers.setdefault(fold(licence.number), key)
    _refuse_supervisors(root, found)
    return tuple(found)


def _key(part: Part, taken: dict[str, str]) -> str:
    """Return the key of a person or a tool, which must be its own."""
    key = part.slug("key")
    if key in taken:
        what = f'the key "{key}" is also that of {taken[key]}'
        part.fault("key", "RULE-DUPLICATE", what, "give each a key of its own")
    elif key:
        taken[key] = part.path
    return key


def _refuse_supervisors(root: Part, people: list[Person]) -> None:
    """Refuse a supervisor who is not a person of the file, or is the person himself."""
    keys = [person.key for person in people]
    for number, person in enumerate(people, start=1):
        spot = f"person[{number}].supervisor"
        if person.supervisor == person.key and person.key:
            what = "nobody supervises himself"
            root.page.fault(spot, "RULE-PERSON", what, "name another person, or leave it out")
        elif person.supervisor and person.supervisor not in keys:
            way_out = f"name one of: {', '.join(filter(None, keys))}"
            what = f'"{person.supervisor}" is not a person of this file'
            root.page.fault(spot, "RULE-PERSON", what, way_out)


def _licence(part: Part, numbers: dict[str, str]) -> Licence:
    number = part.text("number")
    if fold(number) in numbers:
        what = f"the number {number} is also that of {numbers[fold(number)]}"
        part.fault("number", "RULE-DUPLICATE", what, "a licence belongs to one person")
    start, end = part.day("from"), part.day("to")
    if start and end and start > end:
        what = f"the last day, {end}, lies before the first, {start}"
        part.fault("to", "RULE-DATES", what, "correct one of the two days")
    level = part.phrase("level", grammar.LEVELS)
    restricted = part.flag("restricted", default=False)
    if restricted and level == "supervised":
        what = "a supervised licence does not certify for restricted use"
        part.fault("restricted", "RULE-PERSON", what, 'write false, or level = "certified"')
    return Licence(
        number,
        part.text("title"),
        _jurisdiction(part, "jurisdiction"),
        part.words("work", "work"),
        level,
        restricted,
        Span(start, end),
    )


def _tools(root: Part) -> tuple[Tool, ...]:
    """Return the tools with their calibrations."""
    keys: dict[str, str] = {}
    found: list[Tool] = []
    for part in root.parts("tool"):
        key = _key(part, keys)
        empty = part.quantity("empty", "mass")
        holds = part.quantity("holds", "mass", "volume")
        seen: dict[tuple[date | None, str, str], str] = {}
        calibrations = [_calibration(row, seen) for row in part.parts("calibration")]
        known = tuple(item for item in calibrations if item is not None)
        nozzle = part.phrase("nozzle", grammar.NOZZLES)
        pressure = part.phrase("pressure", grammar.PRESSURES)
        found.append(Tool(key, part.text("kind"), empty, holds, known, nozzle, pressure))
    return tuple(found)


def _calibration(part: Part, seen: dict[tuple[date | None, str, str], str]) -> Calibration | None:
    on, product = part.day("on"), part.text("product")
    gives, per = part.quantity("gives", "mass"), part.phrase("per", grammar.TOOL_PER)
    if (on, product, per) in seen:
        what = f"the same day, product and stroke as {seen[on, product, per]}"
        part.fault("", "RULE-DUPLICATE", what, "keep the right one")
    seen[on, product, per] = part.path
    return Calibration(on, product, gives, per) if on and gives else None
