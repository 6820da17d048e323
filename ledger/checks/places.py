"""Where and against what: allowed words, places to keep off, water, rooms, heights."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.say import Tools, finding, over, said, under
from ledger.rulebook.model import Limit
from ledger.values.amount import Quantity
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import Words, fold

_HEADINGS = {"site_kind": "site kind", "setting": "setting", "method": "method", "pest": "pests"}


def known(words: Words, list_name: str, text: str) -> bool:
    """Say whether a word stands in its closed list (every word does where there is no list)."""
    return not words.lists.get(list_name) or words.find(list_name, text) is not None


def _listed(words: Words, list_name: str, text: str, allowed: tuple[str, ...]) -> bool:
    """Say whether a word, or what it is by trait (an apartment is a dwelling), is allowed."""
    wanted = {fold(word) for word in allowed}
    return fold(text) in wanted or any(fold(t) in wanted for t in words.traits(list_name, text))


def check_allowed(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge site kind, setting, method and pests against the lists of a label or law."""
    use = case.use
    said_words = {
        "site_kind": (use.site_kind,) if use.site_kind else (),
        "setting": (use.setting,) if use.setting else (),
        "method": (use.method,) if use.method else (),
        "pest": use.pests,
    }
    for heading, allowed in limit.allowed:
        column = _HEADINGS[heading]
        if not said_words[heading]:
            text = f"cannot tell whether {tools.authority} allows this: {column} is blank"
            yield finding(limit, tools, Kind.UNKNOWN, text, column, f"amend {column}")
        for word in said_words[heading]:
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


def check_enclosure(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the size of a room by its floor: it must exceed the floor that the rule names."""
    if limit.least is None or limit.per is None:
        return
    size = f"{said(limit.least)} by {said(limit.per)}"
    sides = [case.use.extent.get(name) for name in (limit.measure, limit.per_what)]
    feet = [None if side is None else tools.into(side, "ft") for side in sides]
    bounds = [tools.into(limit.least, "ft"), tools.into(limit.per, "ft")]
    one, two = feet
    if one is None or two is None or bounds[0] is None or bounds[1] is None:
        text = f"cannot tell whether the room is larger than {size}: its sides are not given"
        way_out = 'amend the extent, as "10 ft by 12 ft room"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
    elif under(one * two, bounds[0] * bounds[1], limit.inclusive):
        room = " by ".join(said(side) for side in sides if side is not None)
        text = f"a room of {room}; {tools.authority} asks for more than {size}"
        yield finding(limit, tools, Kind.BREACH, text, "extent")


def check_geometry(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the height, width or depth of what was treated."""
    measure = case.use.extent.get(limit.measure)
    for bound, is_most in ((limit.most, True), (limit.least, False)):
        if bound is None:
            continue
        value = None if measure is None else tools.into(measure, bound.unit)
        if measure is None or value is None:
            text = f"cannot tell the {limit.measure}: the extent does not say it"
            way_out = f'amend the extent, as "3 ft {_ADJECTIVE[limit.measure]}"'
            yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
            return
        broken = over if is_most else under
        if broken(value, bound.value, limit.inclusive):
            allows = f"{tools.authority} {'allows' if is_most else 'names at least'}"
            text = f"{said(measure)} {_ADJECTIVE[limit.measure]}, {allows} {said(bound)}"
            kind = Kind.BREACH if is_most else Kind.ADVICE
            yield finding(limit, tools, kind, text, "extent")


_ADJECTIVE = {"height": "high", "width": "wide", "depth": "deep"}
