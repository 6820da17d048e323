"""Rule files as tables with lines -> a :class:`~ledger.rulebook.book.Book`; pure, total.

A file with faults is left out and the others stand. All faults of all files come out at once,
in the order of families, paths and lines.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any, Protocol

from ledger.rulebook import crossing
from ledger.rulebook.book import FEDERAL, Book
from ledger.rulebook.duties import (
    clocks_of,
    read_deadlines,
    read_dormant,
    read_incidents,
    read_papers,
    read_retentions,
)
from ledger.rulebook.firm import NO_FIRM, read_firm
from ledger.rulebook.grammar import FAMILIES, TABLES, Keys
from ledger.rulebook.head import read_checked_on, read_format, read_sources, refuse_unused
from ledger.rulebook.laws import (
    read_counties,
    read_examples,
    read_reports,
    read_requirements,
    read_site_codes,
    read_state,
    read_unread,
    read_zone,
)
from ledger.rulebook.limits import read_limits
from ledger.rulebook.model import RuleFile
from ledger.rulebook.part import Page, Part
from ledger.rulebook.paths import first_said
from ledger.rulebook.products import read_product
from ledger.rulebook.words import FILE_KEYS, read_words
from ledger.units import Units, units_from_table
from ledger.values.finding import Fault
from ledger.values.firm import Firm
from ledger.values.later import Later
from ledger.values.lexicon import Words
from ledger.values.origin import Origin

if TYPE_CHECKING:
    from ledger.rulebook.form_model import Form

_NEVER = date.min


class RawLike(Protocol):
    """A file as it was gathered: its table (None where it is not TOML) and its keys' lines."""

    @property
    def family(self) -> str:
        """One of :data:`~ledger.rulebook.grammar.FAMILIES`."""

    @property
    def path(self) -> str:
        """The path below the rules folder."""

    @property
    def data(self) -> bytes:
        """The bytes of the file."""

    @property
    def shipped(self) -> bool:
        """Whether the file came with the program."""

    @property
    def table(self) -> Mapping[str, Any] | None:
        """The table, or None where there are faults."""

    @property
    def lines(self) -> Mapping[str, int]:
        """The line of every key path."""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What forbade the table."""


@dataclass
class _Desk:
    """What is read so far, while the files of a book are gone through."""

    units: Units
    words: Words
    words_sure: bool = True
    firm: Firm = NO_FIRM
    files: list[RuleFile] = field(default_factory=list)
    forms: list[Form] = field(default_factory=list)
    faults: dict[str, list[Fault]] = field(default_factory=dict)


def read_book(files: Sequence[RawLike], *, lazily: bool = False) -> Book:
    """Return the book of these files. Never raises for anything that a file may say.

    ``lazily`` leaves jurisdictions and forms unread until they are asked for, where all of them
    came with the program: those are checked whole before they are shipped. One of the firm's own
    is always read, with all the others, so that its faults are told.
    """
    ordered = sorted(files, key=lambda file: (FAMILIES.index(file.family), file.path))
    later = [file for file in ordered if file.family in LATER] if lazily else []
    if not all(file.shipped and _said(file, "id") for file in later):
        later = []
    waiting = {file.path for file in later}
    desk = _Desk(units_from_table({}, {}, "units.toml")[0], Words({}))
    for file in ordered:
        if file.path not in waiting:
            desk.faults[file.path] = list(file.faults)
            if file.table is not None:
                desk.faults[file.path] += _read(desk, file)
    makers = {family: _makers(desk, later, family) for family in LATER} if later else {}
    _read_between(desk, ordered, makers)
    broken = {path for path, faults in desk.faults.items() if faults}
    kept = [file for file in desk.files if file.path not in broken]
    by_family = {name: tuple(f for f in kept if f.family == name) for name in FAMILIES}
    forms = tuple(form for form in desk.forms if form.path not in broken)
    firm_broken = any(file.family == "firm" and file.path in broken for file in files)
    return Book(
        by_family["label"],
        Later(makers["jurisdiction"]) if later else by_family["jurisdiction"],
        by_family["practice"],
        Later(makers["form"]) if later else forms,
        desk.words,
        desk.units,
        NO_FIRM if firm_broken else desk.firm,
        {file.path: file.data for file in ordered if file.family != "stray"},
        tuple(fault for faults in desk.faults.values() for fault in faults),
        _doubtful(ordered, broken),
        {state: _said(file, "id") for file in later if (state := _said(file, "state"))},
    )


LATER = ("jurisdiction", "form")
"""The families of which a command needs one or two files out of many."""


def _read_between(
    desk: _Desk,
    ordered: Sequence[RawLike],
    makers: Mapping[str, Mapping[str, Callable[[], Any]]],
) -> None:
    """Add the faults that show only when files are laid side by side, and sort all of them."""
    # What a firm registered with is looked up, so it is read now.
    registered = {entry.jurisdiction for entry in desk.firm.registrations}
    laws = makers.get("jurisdiction", {})
    known = [law for id_ in sorted(registered & set(laws)) if (law := laws[id_]())]
    eager = [file for file in ordered if file.path in desk.faults]
    for fault in crossing.faults_between(desk.files, desk.forms, eager):
        desk.faults[fault.origin.file].append(fault)
    for file in ordered:
        if file.family == "firm":
            found = crossing.faults_of_firm(desk.firm, [*desk.files, *known], file)
            desk.faults[file.path].extend(found)
    for faults in desk.faults.values():
        faults.sort(key=lambda fault: fault.origin.row or 0)


def _makers(desk: _Desk, later: Sequence[RawLike], family: str) -> dict[str, Callable[[], Any]]:
    """Return what reads each file of a family on demand, by the file's id."""
    makers: dict[str, Callable[[], Any]] = {}
    for file in later:
        if file.family == family:
            makers.setdefault(_said(file, "id"), _maker(desk, file))
    return makers


def _maker(desk: _Desk, file: RawLike) -> Callable[[], Any]:
    """Return what reads one file on a desk of its own, once; None where it has faults."""

    @cache
    def made() -> RuleFile | Form | None:
        own = _Desk(desk.units, desk.words, desk.words_sure)
        if file.table is None or _read(own, file):
            return None
        found: list[RuleFile | Form] = [*own.files, *own.forms]
        return found[0] if found else None

    return made


def _said(file: RawLike, key: str) -> str:
    return first_said(file.data, key) or ""


def _read(desk: _Desk, file: RawLike) -> list[Fault]:
    """Read one file onto the desk; return its faults."""
    table = file.table or {}
    if file.family == "stray":
        what = "no part of the program reads a file of this name or in this folder"
        way_out = "move it to labels, jurisdictions, practice or forms, or take it out"
        return [Fault("RULE-STRAY", Origin(file.path, 1), what, way_out)]
    if file.family == "units":
        desk.units, faults = units_from_table(table, file.lines, file.path)
        return list(faults)
    digest = hashlib.sha256(file.data).hexdigest()
    page = Page(file.path, digest, file.lines, desk.units, desk.words)
    page.words_sure = desk.words_sure
    if file.family == "words":
        desk.words = _words(Part(page, table, "", FILE_KEYS))
        desk.words_sure = not page.faults
    elif file.family == "firm":
        firm = read_firm(Part(page, table, "", TABLES["useledger"]))
        desk.firm = firm if firm and not page.faults else NO_FIRM
    elif file.family == "form":
        form = _form(page, table)
        desk.forms.extend([form] if form else [])
    else:
        root = Part(page, table, "", _keys_of(file.family, table))
        desk.files.append(_rule_file(root, file.family))
    return page.faults


def _keys_of(family: str, table: Mapping[str, Any]) -> Keys:
    """Return the keys of a rule file; only the federal law has neither state nor zone."""
    keys = TABLES[family]
    if family != "jurisdiction" or table.get("id") == FEDERAL:
        return keys
    return Keys((*keys.needed, "state", "time_zone"), keys.other)


def _words(root: Part) -> Words:
    read_format(root)
    root.slug("id")
    root.text("title")
    read_checked_on(root)
    return read_words(root)


def _form(page: Page, table: Mapping[str, Any]) -> Form | None:
    # Loaded here: whoever books a line reads no form.
    from ledger.rulebook.form_words import FORM_KEYS  # noqa: PLC0415
    from ledger.rulebook.forms import read_form  # noqa: PLC0415

    root = Part(page, table, "", FORM_KEYS["form"])
    read_format(root)
    read_checked_on(root)
    form = read_form(root)
    refuse_unused(root)
    return form


def _rule_file(root: Part, family: str) -> RuleFile:
    """Return the rule file of a label, a jurisdiction or a practice."""
    page = root.page
    read_format(root)
    id_, title, stale = root.slug("id"), root.text("title"), read_checked_on(root)
    sources = read_sources(root)
    counties = read_counties(root)
    page.counties = tuple(name for name, _ in counties)
    product, lasts = read_product(root) if family == "label" else (None, "")
    state = read_state(root)
    _refuse_other_state(root, id_, state, family)
    papers = read_papers(root)
    found = RuleFile(
        family,
        id_,
        title,
        page.path,
        page.digest,
        page.checked_on or _NEVER,
        stale,
        sources,
        limits=read_limits(root),
        requirements=read_requirements(root),
        deadlines=(*read_deadlines(root), *clocks_of(papers)),
        retentions=read_retentions(root),
        reports=read_reports(root),
        unread=read_unread(root),
        examples=read_examples(root),
        product=product,
        state=state,
        time_zone=read_zone(root),
        counties=counties,
        site_codes=read_site_codes(root),
        lasts=lasts,
        papers=papers,
        incidents=read_incidents(root),
        dormant=read_dormant(root),
    )
    refuse_unused(root)
    return found


def _refuse_other_state(root: Part, id_: str, state: str, family: str) -> None:
    """Refuse an id that names another state than the file does."""
    if family == "jurisdiction" and id_ and state and id_ != f"us-{state.lower()}":
        way_out = f'write id = "us-{state.lower()}", or correct the state'
        root.fault("id", "RULE-JURISDICTION", f'"{id_}" is not the id of {state}', way_out)


def _doubtful(files: Sequence[RawLike], broken: set[str]) -> dict[str, str]:
    """Return id and registration of every broken label, as far as they can be read."""
    found: dict[str, str] = {}
    for file in files:
        if file.family == "label" and file.path in broken:
            for name in _names(file):
                found.setdefault(name, file.path)
    return found


def _names(file: RawLike) -> list[str]:
    if file.table is None:
        said: list[object] = [first_said(file.data, key) for key in ("id", "registration")]
    else:
        product = file.table.get("product")
        number = product.get("registration") if isinstance(product, Mapping) else None
        said = [file.table.get("id"), number]
    return [" ".join(name.split()) for name in said if isinstance(name, str) and name.strip()]
