"""Allowed and prohibited lists: sites, settings, methods, pests, equipment, places."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.places import known
from ledger.checks.say import Tools, finding
from ledger.rulebook.model import Limit
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import Words, fold

_COLUMNS = {"site_kind": "site kind", "pest": "pests", "nozzle": "equipment",
            "pressure": "equipment"}  # fmt: skip


def _listed(words: Words, list_name: str, text: str, listed: tuple[str, ...]) -> bool:
    """Say whether a word, or what it is by trait (an apartment is a dwelling), is listed."""
    wanted = {fold(word) for word in listed}
    return fold(text) in wanted or any(fold(t) in wanted for t in words.traits(list_name, text))


def said_words(case: Case, heading: str) -> tuple[str, ...]:
    """Return what the line says under the heading of a list; nothing where it is blank.

    Nozzle and pressure are those of the tool by the firm file.
    """
    use, tool = case.use, case.tool
    said = {
        "site_kind": use.site_kind, "setting": use.setting, "method": use.method,
        "equipment": kind_of_tool(case),
        "nozzle": tool.nozzle if tool else "", "pressure": tool.pressure if tool else "",
    }  # fmt: skip
    if heading == "pest":
        return use.pests
    return (said[heading],) if said[heading] else ()


def kind_of_tool(case: Case) -> str:
    """Return the kind of the tool in the word of the list: a ``bulb duster`` is a ``duster``."""
    said = case.tool.kind if case.tool else case.use.equipment
    word = case.words.find("equipment", said)
    return word.name if word else said


def _blank(limit: Limit, tools: Tools, heading: str) -> Finding:
    column = _COLUMNS.get(heading, heading)
    what = f"{column} is blank" if heading == column else f"the {heading} is not known"
    if heading == "site_kind":
        what = "site kind is blank"
    elif heading == "pest":
        what = "pests is blank"
    text = f"cannot tell whether {tools.authority} allows this: {what}"
    return finding(limit, tools, Kind.UNKNOWN, text, column, f"amend {column}")


def check_allowed(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the line against the lists of what is allowed: what is not listed is not allowed."""
    for heading, allowed in limit.allowed:
        column = _COLUMNS.get(heading, heading)
        words = said_words(case, heading)
        if not words:
            yield _blank(limit, tools, heading)
        for word in words:
            if _listed(case.words, heading, word, allowed):
                continue
            if heading == "pest":
                text = f"{tools.authority} does not list {word} (it lists {', '.join(allowed)})"
                yield finding(limit, tools, Kind.ADVICE, text, column)
            elif not known(case.words, heading, word):
                text = f'cannot tell: "{word}" is not a known word for {column}'
                yield finding(limit, tools, Kind.UNKNOWN, text, column, f"amend {column}")
            else:
                text = f"{word} is not allowed; {tools.authority} allows {', '.join(allowed)}"
                yield finding(limit, tools, Kind.BREACH, text, column)


def check_prohibited(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the line against the lists of what is prohibited: all else is allowed.

    Exceptions of a prohibited ingredient are not examined, and the finding says so.
    """
    if limit.words:
        yield from _ingredients(case, limit, tools)
    for heading, forbidden in limit.allowed:
        if heading == "traits":
            yield from _places(case, limit, tools, forbidden)
            continue
        column = _COLUMNS.get(heading, heading)
        words = said_words(case, heading)
        if not words:
            yield _blank(limit, tools, heading)
        for word in words:
            if _listed(case.words, heading, word, forbidden):
                text = f"{word} is prohibited; {tools.authority} says: {limit.says}"
                yield finding(limit, tools, Kind.BREACH, text, column)
            elif not known(case.words, heading, word):
                text = f'cannot tell: "{word}" is not a known word for {column}'
                yield finding(limit, tools, Kind.UNKNOWN, text, column, f"amend {column}")


def _ingredients(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    if case.product is None:
        text = f"cannot tell whether the product is prohibited: {limit.says}"
        yield finding(limit, tools, Kind.UNKNOWN, text, "product", "mend the label file")
        return
    wanted = {fold(word) for word in limit.words}
    for part in case.product.ingredients:
        if fold(part.name) not in wanted:
            continue
        since = f" since {limit.span.start}" if limit.span.start else ""
        text = f"{part.name}: {limit.says} In force{since}, {limit.ref.source}"
        if limit.exceptions:
            text = f"{text}; the exceptions of {limit.exceptions} were not examined"
        yield finding(limit, tools, Kind.BREACH, text, "product")


def _places(
    case: Case, limit: Limit, tools: Tools, forbidden: tuple[str, ...]
) -> Iterator[Finding]:
    """Judge the treated places by their traits; an unknown place cannot be told."""
    if not case.use.places:
        text = f"cannot tell whether {tools.authority} allows this: no place is named"
        yield finding(limit, tools, Kind.UNKNOWN, text, "places", "amend places")
    for place in case.use.places:
        met = [trait for trait in forbidden if trait in case.words.traits("place", place)]
        if met:
            text = f"{place} ({' or '.join(met)}) is prohibited; {limit.says}"
            yield finding(limit, tools, Kind.BREACH, text, "places")
        elif not known(case.words, "place", place):
            text = f'cannot tell whether "{place}" is prohibited: it is not a known place'
            way_out = "amend the place, or add the word to words.toml"
            yield finding(limit, tools, Kind.UNKNOWN, text, "places", way_out)
