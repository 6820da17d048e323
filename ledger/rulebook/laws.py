"""What a jurisdiction file adds to limits: fields, deadlines, retention, reports, counties."""

from __future__ import annotations

import re
from datetime import datetime
from zoneinfo import ZoneInfo

from ledger.rulebook import grammar
from ledger.rulebook.conditions import read_condition
from ledger.rulebook.grammar import Keys
from ledger.rulebook.model import (
    Example,
    Read,
    ReportDuty,
    Requirement,
    Source,
    Unread,
)
from ledger.rulebook.part import Part, kind_of, listed
from ledger.values.lexicon import fold

_STATE = re.compile(r"[A-Z]{2}")


def read_of(source: Source | None) -> Read:
    """Return how a source was read; one that is not known decides nothing."""
    return source.read if source else Read.MEMORY


def zone_known(name: str) -> bool:
    """Say whether the time zone database has a zone of that name."""
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True


def read_zone(part: Part) -> str:
    """Return the time zone of a table."""
    name = part.text("time_zone")
    if name and not zone_known(name):
        way_out = 'write a name of the time zone database, as "America/Los_Angeles"'
        part.fault("time_zone", "RULE-ZONE", f'no time zone is called "{name}"', way_out)
    return name


def read_state(part: Part) -> str:
    """Return the two letters of a state."""
    state = part.text("state")
    if state and not _STATE.fullmatch(state):
        part.fault("state", "RULE-STATE", f'"{state}" is not a state', 'write it as "CA"')
    return state


def read_counties(root: Part) -> tuple[tuple[str, str], ...]:
    """Return the counties with their numbers; no name and no number stands twice."""
    found: list[tuple[str, str]] = []
    for part in root.parts("county"):
        name, number = part.text("name"), part.text("number")
        if name and fold(name) in (fold(other) for other, _ in found):
            part.fault("name", "RULE-DUPLICATE", f'"{name}" stands twice', "list it once")
        if number and number in (other for _, other in found):
            part.fault("number", "RULE-DUPLICATE", f"number {number} stands twice", "correct it")
        found.append((name, number))
    return tuple(found)


def read_site_codes(root: Part) -> tuple[tuple[str, str], ...]:
    """Return which code of the regulator's form stands for which line of work."""
    table = root.table.get("site_codes")
    keys = Keys((), tuple(table) if isinstance(table, dict) else ())
    part = root.part("site_codes", keys)
    if part is None:
        return ()
    return tuple((part.known(work, work, "work"), part.text(work)) for work in part.table)


def read_requirements(root: Part) -> tuple[Requirement, ...]:
    """Return the fields that a record must hold."""
    return tuple(_requirement(part) for part in root.parts("require"))


def _requirement(part: Part) -> Requirement:
    name, says = part.name(findable=True), part.text("says")
    source = part.source()
    if part.means("field") == part.means("any_of"):
        way_out = 'write field = "..." or any_of = [["..."], ["..."]]'
        part.fault("", "RULE-BOUND", "one of field and any_of is wanted", way_out)
    field = part.phrase("field", grammar.REQUIREMENT_FIELDS)
    groups = ((field,),) if field else _groups(part)
    for key in MANNERS:
        if part.has(key) and part.has("any_of"):
            way_out = "write one field, or take it out"
            part.fault(key, "RULE-BOUND", f"{key} is about one field, not about groups", way_out)
    return Requirement(
        name,
        groups,
        part.ref(source),
        says,
        read_of(source),
        when=read_condition(part),
        span=part.span(),
        blocks=part.flag("blocks", default=False),
        elsewhere=part.phrases("elsewhere", grammar.FIRM_LISTS),
        words=part.texts("words"),
        units=_units(part, field),
        longest=part.whole("longest", 1, 1000),
        refused=part.texts("refused"),
        not_as=part.phrases("not_as", grammar.NOT_AS),
        supersedes=read_supersedes(part),
    )


MANNERS = ("words", "units", "longest", "refused", "not_as")
"""Keys that say how one field must be said."""


def _units(part: Part, field: str) -> tuple[str, ...]:
    """Return the codes of the units that the law takes; only an amount has a unit."""
    texts = part.texts("units")
    if texts and field and field != "amount":
        way_out = 'write field = "amount", or take units out'
        part.fault("units", "RULE-BOUND", f"{field} has no unit", way_out)
    codes = []
    for number, text in enumerate(texts, start=1):
        unit = part.page.units.find(text)
        if unit is None:
            near = part.page.units.nearest(text)
            way_out = f'did you mean "{near}"?' if near else "write a unit of units.toml"
            spot = f"{part.at('units')}[{number}]"
            part.page.fault(spot, "RULE-UNIT", f'"{text}" is not a known unit', way_out)
        else:
            codes.append(unit.code)
    return tuple(codes)


_SUPERSEDED = re.compile(r"(?:us-[a-z]+/)?[a-z0-9]+(?:-[a-z0-9]+)*")


def read_supersedes(part: Part) -> tuple[str, ...]:
    """Return the names of the rules that give way to this one; each must be somewhere."""
    names = part.texts("supersedes")
    for number, name in enumerate(names, start=1):
        if not _SUPERSEDED.fullmatch(name):
            spot = f"{part.at('supersedes')}[{number}]"
            way_out = 'write the name of a rule, or "us-federal/name"'
            part.page.fault(spot, "RULE-NAME", f'"{name}" is not the name of a rule', way_out)
    # A name with a fault keeps its place, so that the others are counted as they stand.
    return tuple(name if _SUPERSEDED.fullmatch(name) else "" for name in names)


def _groups(part: Part) -> tuple[tuple[str, ...], ...]:
    """Return groups of fields, any one of which will do."""
    value = part.table.get("any_of")
    if value is None:
        return ()
    good = isinstance(value, list) and value and all(isinstance(item, list) for item in value)
    if not good or not all(value):
        way_out = 'write groups of fields, as [["extent"], ["places", "note"]]'
        part.fault("any_of", "RULE-TYPE", f"{kind_of(value)} without groups", way_out)
        return ()
    groups: list[tuple[str, ...]] = []
    for number, item in enumerate(value, start=1):
        key = f"any_of[{number}]"
        group = [str(field) for field in item]
        known = [_field(part, key, field) for field in group]
        groups.append(tuple(filter(None, known)))
    return tuple(groups)


def _field(part: Part, path_key: str, field: str) -> str:
    """Return one field of a group, or keep a fault at its list."""
    options = grammar.REQUIREMENT_FIELDS
    if field not in options:
        spot = f"{part.path}.{path_key}"
        way_out = f"allowed: {listed(options)}"
        part.page.fault(spot, "RULE-PHRASE", f'"{field}" is no field of a record', way_out)
        return ""
    return field


def read_reports(root: Part) -> tuple[ReportDuty, ...]:
    """Return the reports that are owed."""
    found = []
    for part in root.parts("report"):
        source = part.source()
        every = part.phrase("every", grammar.EVERY)
        due_read = part.phrase("due", grammar.DUE_UNREAD) == ""
        month = part.whole("due_month", 1, 12)
        _whole_due(part, every, due_read=due_read)
        found.append(
            ReportDuty(
                part.name(findable=True),
                part.slug("form"),
                every,
                part.whole("due_day", 1, 31) or 1,
                month,
                part.phrase("due_rule", grammar.DUE_RULES),
                part.phrase("per", grammar.REPORT_PER),
                part.flag("nil", default=False),
                part.ref(source),
                read_of(source),
                part.span(),
                postmark=part.flag("postmark", default=False),
                due_read=due_read,
            )
        )
    return tuple(found)


def _whole_due(part: Part, every: str, *, due_read: bool) -> None:
    """Fault a due day that is said by halves, or said beside ``due = "not read"``."""
    keys = ("due_day", "due_rule", *(("due_month",) if every == "year" else ()))
    if due_read:
        for key in keys:
            if not part.has(key):
                period = "yearly" if every == "year" else "monthly"
                way_out = f'add {key}, or write due = "not read" in place of the due day'
                part.fault("", "RULE-MISSING-KEY", f'a {period} report needs "{key}"', way_out)
        return
    for key in (*keys, "postmark"):
        if part.has(key):
            what = f'{key} is said of a due day that was "not read"'
            part.fault(key, "RULE-BOUND", what, f"take {key} out, or take due out")


def read_unread(root: Part) -> tuple[Unread, ...]:
    """Return the parts of the law that were not read."""
    return tuple(
        Unread(part.text("section"), part.text("note"), part.ref(part.source()))
        for part in root.parts("unread")
    )


def read_examples(root: Part) -> tuple[Example, ...]:
    """Return the file's own examples; what they expect must be a rule of this file."""
    found: list[Example] = []
    for part in root.parts("example"):
        name = part.text("name")
        if name and name in (other.name for other in found):
            part.fault("name", "RULE-DUPLICATE", f'"{name}" stands twice', "name it otherwise")
        line = _line(part.part("line", _LINE_KEYS))
        before = tuple(_line(row) for row in part.parts("before", _LINE_KEYS))
        expected = part.texts("expect") if part.table.get("expect") else _empty(part)
        for number, text in enumerate(expected, start=1):
            _expected(part, f"expect[{number}]", text)
        found.append(
            Example(
                name, line, before, expected, part.ref(None), _recorded(part),
                part.word("work", "work") or "structural", _papers(part, root),
                part.day("kept_until"), part.day("filed"), part.day("posted"),
                part.flag("site_in_doubt", default=False),
            )
        )  # fmt: skip
    return tuple(found)


def _papers(part: Part, root: Part) -> tuple[str, ...] | None:
    """Return the papers that an example names, each of this file; an empty list names none."""
    if part.table.get("papers", []) == []:
        return () if part.has("papers") else None
    known = [paper.table.get("name") for paper in root.parts("paper")]
    names = part.texts("papers")
    for number, name in enumerate(names, start=1):
        if name not in known:
            spot = f"{part.path}.papers[{number}]"
            way_out = f"papers in this file: {listed(sorted(filter(None, known))) or 'none'}"
            part.page.fault(spot, "RULE-EXAMPLE", f'no paper is called "{name}"', way_out)
    return names


_LINE_KEYS = Keys((), grammar.EXAMPLE_HEADINGS)


def _recorded(part: Part) -> datetime | None:
    """Return the moment at the site when the example's record was written."""
    value = part.table.get("recorded")
    if value is None or (isinstance(value, datetime) and value.tzinfo is None):
        return value
    way_out = "write day and time at the site without quotation marks, as 2026-01-15T09:00:00"
    part.fault("recorded", "RULE-TYPE", f"{kind_of(value)} here", way_out)
    return None


def _empty(part: Part) -> tuple[str, ...]:
    """Accept an empty list: nothing is to be found."""
    value = part.table.get("expect")
    if value is not None and value != []:
        part.texts("expect")
    return ()


def _line(part: Part | None) -> dict[str, str]:
    """Return the cells of an example's line; a blank cell is said on purpose."""
    if part is None:
        return {}
    cells: dict[str, str] = {}
    for key, value in part.table.items():
        if isinstance(value, str):
            cells[key] = value
        else:
            part.fault(key, "RULE-TYPE", f"{kind_of(value)} here", "write it as text, as typed")
    return cells


def _expected(part: Part, key: str, text: str) -> None:
    """Refuse what no rule of this file can find."""
    spot = f"{part.path}.{key}"
    kind, _, name = text.partition(" ")
    known = part.page.findable
    if kind not in grammar.EXPECT_KINDS or not name:
        way_out = f'write "{grammar.EXPECT_KINDS[0]} NAME"; kinds: {listed(grammar.EXPECT_KINDS)}'
        part.page.fault(spot, "RULE-EXAMPLE", f'"{text}" is no finding', way_out)
    elif name not in known:
        way_out = f"names in this file: {listed(sorted(known)) or 'none'}"
        part.page.fault(spot, "RULE-EXAMPLE", f'no rule is called "{name}"', way_out)
