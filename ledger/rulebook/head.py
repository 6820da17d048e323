"""What every rule file begins with: its form, its name, the day it was checked, its sources."""

from __future__ import annotations

import re

from ledger.rulebook.grammar import TABLES
from ledger.rulebook.model import Read, Source
from ledger.rulebook.part import Part
from ledger.rulebook.paths import join_path

FORMAT = 1
_NAME_EDITION = 'add note = "Edition of 2007."'
STALE_AFTER_MONTHS = 12
_LINK = re.compile(r"https://[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+(:\d+)?(/\S*)?")


def read_format(root: Part) -> None:
    """Refuse a file that is written in a form that this program does not know."""
    number = root.whole("format")
    if number is not None and number != FORMAT:
        way_out = f"write format = {FORMAT}, or use a newer version of the program"
        root.fault("format", "RULE-FORMAT", f"format {number} is not known here", way_out)


def read_checked_on(root: Part) -> int:
    """Note the day the file was checked, and return after how many months it is stale."""
    root.page.checked_on = root.day("checked_on")
    return root.whole("stale_after_months", 1, 1200) or STALE_AFTER_MONTHS


def read_sources(root: Part) -> tuple[Source, ...]:
    """Read the sources and let the rest of the file name them."""
    table = root.table.get("source")
    if isinstance(table, dict):
        for key in table:
            item = table[key]
            spot = join_path("source", key)
            if isinstance(item, dict):
                part = Part(root.page, item, spot, TABLES["source"])
                root.page.sources[key] = _source(key, part)
            else:
                way_out = f"write a table [source.{key}]"
                root.page.fault(spot, "RULE-TYPE", "a source is a table", way_out)
    elif table is not None:
        root.fault("source", "RULE-TYPE", "sources are tables", "write [source.KEY] above each")
    return tuple(root.page.sources.values())


def _source(key: str, part: Part) -> Source:
    read = part.phrase("read", tuple(Read))
    link = part.text("link")
    if link and not _LINK.fullmatch(link):
        way_out = "write the whole official address, as https://law.example/12"
        part.fault("link", "RULE-LINK", f'"{link}" is not an address', way_out)
    source = Source(
        key,
        part.text("title"),
        part.text("section"),
        link,
        Read(read) if read else Read.MEMORY,
        part.day("read_on"),
        part.text("note"),
    )
    if read == Read.OLD and not source.note:
        part.fault("note", "RULE-EDITION", "an old edition that is not named", _NAME_EDITION)
    cited = read in {Read.REGULATION, Read.SUMMARY}
    if cited and not (source.section or source.link or source.note):
        way_out = "add section and link, or a note that says why there is none"
        part.fault("", "RULE-LINK", "the source leads nowhere", way_out)
    return source


def refuse_unused(root: Part) -> None:
    """Refuse a source that no rule names: either the rule or the source was forgotten."""
    for key in root.page.sources:
        if key not in root.page.used:
            way_out = f'name it in a rule, as source = "{key}", or take it out'
            spot = join_path("source", key)
            root.page.fault(spot, "RULE-SOURCE-UNUSED", f'no rule names "{key}"', way_out)
