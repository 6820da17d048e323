"""Where and against what: allowed words, places to keep off, water, rooms, heights."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.say import Tools, finding, said, under
from ledger.rulebook.model import Limit
from ledger.values.amount import Quantity
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import Words, fold


def known(words: Words, list_name: str, text: str) -> bool:
    """Say whether a word stands in its closed list (every word does where there is no list)."""
    return not words.lists.get(list_name) or words.find(list_name, text) is not None


def check_keep_off(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the treated places by their traits; an unknown place cannot be told."""
    if not case.use.places:
        text = f"cannot tell whether the work kept off {_or(limit.words)}: no place is named"
        yield finding(limit, tools, Kind.UNKNOWN, text, "places", "amend places")
    for place in case.use.places:
        met = [t for t in limit.words if t in case.words.traits("place", place)]
        if met:
            text = f"{place} was treated ({_or(met)}); {tools.authority} says: {limit.says}"
            yield finding(limit, tools, Kind.BREACH, text, "places")
        elif not known(case.words, "place", place):
            text = f'cannot tell whether "{place}" is {_or(limit.words)}: it is not a known place'
            way_out = "amend the place, or add the word to words.toml"
            yield finding(limit, tools, Kind.UNKNOWN, text, "places", way_out)


def _or(words: tuple[str, ...] | list[str]) -> str:
    return " or ".join(words)


def check_buffer(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the distance to water and the like; ``none present`` is an answer, blank is not."""
    if limit.least is None:
        return
    use, trait = case.use, limit.words[0]
    treated = [place for place in use.places if trait in case.words.traits("place", place)]
    for place in treated:
        text = f"{place} itself was treated; {tools.authority} asks for {said(limit.least)}"
        yield finding(limit, tools, Kind.BREACH, text, "places")
    if use.avoided_said == "none present":
        return
    near = [
        (item.place, item.distance)
        for item in use.avoided
        if trait in case.words.traits("place", item.place)
        or any(_reason_is(case.words, reason, trait) for reason in item.reason.split(", "))
    ]
    if not near and not treated:
        text = f"cannot tell how far away {trait} was: the line does not say"
        way_out = f'amend avoided, as "creek ({trait}, 60 ft)" or "none present"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "avoided", way_out)
    for place, distance in near:
        yield from _distance(place, distance, limit, tools)


def _reason_is(words: Words, reason: str, trait: str) -> bool:
    return fold(reason) == fold(trait) or trait in words.traits("reason", reason)


def _distance(
    place: str, distance: Quantity | None, limit: Limit, tools: Tools
) -> Iterator[Finding]:
    least = limit.least
    value = None if distance is None or least is None else tools.into(distance, least.unit)
    if least is None:
        return
    if distance is None or value is None:
        text = f"cannot tell how far away {place} was; {tools.authority} asks for {said(least)}"
        way_out = f'amend avoided with the distance, as "{place} ({limit.words[0]}, 60 ft)"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "avoided", way_out)
    elif under(value, least.value, limit.inclusive):
        text = f"{said(distance)} from {place}; {tools.authority} asks for {said(least)}"
        yield finding(limit, tools, Kind.BREACH, text, "avoided")
