"""Addresses in the normal form of USPS Publication 28, read by rule.

The normal form is part of a site's identity, so it is computed by the plain rules and tables of
the publication (``postal``) and never by a statistical parser: when such a library's model is
trained anew, the same text may be cut differently, and a site's history would fall apart without
anybody having typed anything. A library serves as the outside comparison in the tests.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from ledger.normalise.postal import (
    DIRECTIONS,
    HIGHWAYS,
    LEADING_ZERO,
    STATES,
    SUFFIXES,
    UNITS_ALONE,
    UNITS_NUMBERED,
)
from ledger.normalise.text import cell
from ledger.values.draft import Draft
from ledger.values.finding import Fault
from ledger.values.reading import Reading
from ledger.values.site import Address

_BOX = re.compile(
    r"\b(?:P ?O ?(?:BOX|BX|DRAWER)|POB|POST(?:AL)? (?:OFFICE )?BOX|LOCK ?BOX|PMB)\b"
    r"|^(?:FIRM )?(?:BOX|CALLER|DRAWER|BIN)(?: #)? \S*\d"
    r"|^GENERAL DELIVERY\b"
)
_RURAL = re.compile(
    r"^(?P<kind>RR|RFD|RD|RURAL (?:ROUTE|RTE|RT)|HC|HCR|HIGHWAY CONTRACT(?: ROUTE)?|STAR ROUTE)"
    r" (?:# )?0*(?P<route>\d+) BOX (?:# )?0*(?P<box>\d[\w-]*)$"
)
_ORDINALS = {
    "FIRST": 1, "SECOND": 2, "THIRD": 3, "FOURTH": 4, "FIFTH": 5, "SIXTH": 6, "SEVENTH": 7,
    "EIGHTH": 8, "NINTH": 9, "TENTH": 10, "ELEVENTH": 11, "TWELFTH": 12,
}  # fmt: skip
_STATE_OF = {name: code for code, name in STATES.items()}


@dataclass(frozen=True, slots=True)
class Street:
    """A delivery address line in its parts; ``rural`` marks a route and box without a street."""

    number: str
    before: str
    name: str
    suffix: str
    after: str
    unit: str
    rural: bool = False

    @property
    def line(self) -> str:
        """The street line in normal form, without the unit."""
        parts = (self.number, self.before, self.name, self.suffix, self.after)
        return " ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Trouble:
    """What keeps a text from being an address: which column, what, and the way out."""

    code: str
    column: str
    what: str
    way_out: str


@lru_cache(maxsize=65536)
def plain(text: str) -> str:
    """Return an address text in upper case without punctuation that Publication 28 leaves out.

    Kept are a comma (it parts the line), ``#``, ``/`` between digits, a point between digits,
    and a hyphen beside a digit ("112-10", "87-A").
    """
    text = text.upper().replace("½", " 1/2").replace("¼", " 1/4").replace("¾", " 3/4")
    text = re.sub(r"[\u2010-\u2015\u2212]", "-", text)
    text = re.sub(r"['\u2019`]", "", text)
    text = re.sub(r"(?<=\d)\s*-\s*(?=\d)", "-", text)
    text = re.sub(r"(?<!\d)-(?!\d)", " ", text)
    text = re.sub(r"(?<!\d)\.|\.(?!\d)", " " if re.search(r"\b\w\.\w\.", text) else "", text)
    text = re.sub(r"[;\n]", ",", text)
    text = re.sub(r"[^\w\s,#/.\-]|_", " ", text)
    text = text.replace("#", " # ").replace(",", " , ")
    return " ".join(text.split())


def _is_unit_start(tokens: list[str], at: int) -> bool:
    """Say whether a secondary unit begins here: a designator with its number, or one alone."""
    token = tokens[at]
    following = tokens[at + 1] if at + 1 < len(tokens) else ""
    if token == "#":  # noqa: S105 - a pound sign, not a password
        return bool(following)
    if token in UNITS_NUMBERED:
        return following == "#" or _is_label(following)
    if token in UNITS_ALONE:
        return not following or (_is_label(following) and at + 2 == len(tokens))
    return False


def _is_label(token: str) -> bool:
    """Say whether a token can be the number or letter of a unit."""
    return any(char.isdigit() for char in token) or (len(token) == 1 and token.isalpha())


def _is_only_unit(tokens: list[str]) -> bool:
    """Say whether there is a unit and nothing else ("118 #4" names no street)."""
    first = tokens[0]
    numbered = first == "#" or (first in UNITS_NUMBERED and len(tokens) == 2)
    return numbered and _is_unit_start(tokens, 0)


def _unit(tokens: list[str]) -> str:
    """Return a secondary unit in normal form; a bare label gets the pound sign (213.2)."""
    parts: list[str] = []
    for at, token in enumerate(tokens):
        following = tokens[at + 1] if at + 1 < len(tokens) else ""
        known = UNITS_NUMBERED.get(token) or UNITS_ALONE.get(token)
        if known and (token in UNITS_ALONE or following):
            parts.append(known)
        elif token != "#" or not parts or parts[-1] not in UNITS_NUMBERED:  # noqa: S105
            parts.append(token)
    if parts and parts[0] not in UNITS_NUMBERED and parts[0] not in UNITS_ALONE:
        return " ".join(parts if parts[0] == "#" else ["#", *parts])
    return " ".join(parts)


def _split_unit(tokens: list[str]) -> tuple[list[str], list[str]]:
    """Return the street's tokens and the unit's; a unit follows a whole street, never its name."""
    for at in range(2, len(tokens)):
        two_ways = (
            tokens[at] in SUFFIXES
            and len(DIRECTIONS.get("".join(tokens[at + 1 : at + 2]), "")) == 1
        )
        if two_ways:
            # "QUARTZ TRLR WEST", "QUARTZ TRLR W": the street's own suffix and side of town, as long
            # as it has no other. Decided alike for both spellings, or a normal form is not its own.
            if not any(token in SUFFIXES for token in tokens[2:at]):
                continue
        elif not _is_unit_start(tokens, at):
            continue
        alone = tokens[at] in UNITS_ALONE
        if alone and at < 3:  # "12 LAKE SIDE" is a street
            continue
        if alone and not any(t in SUFFIXES or t in DIRECTIONS for t in tokens[2:at]):
            continue
        return tokens[:at], tokens[at:]
    return tokens, []


def _direction(tokens: list[str], at_end: bool) -> tuple[str, list[str]]:
    """Return a directional at one end of the street's name and what is left (section 233)."""
    pair = tokens[-2:] if at_end else tokens[:2]
    both = "".join(DIRECTIONS.get(token, "?") for token in pair)
    if len(tokens) > 3 and both in DIRECTIONS and len(both) == 2:
        return both, tokens[:-2] if at_end else tokens[2:]
    one = DIRECTIONS.get(tokens[-1] if at_end else tokens[0], "")
    left = tokens[:-1] if at_end else tokens[1:]
    if not one or not left:
        return "", tokens
    if at_end and not (left[-1] in SUFFIXES or left[-1][0].isdigit()):
        return "", tokens
    if not at_end and len(left) == 1 and left[0] in SUFFIXES:  # "NORTH AVE": it is the name
        return "", tokens
    return one, left


def _highway(tokens: list[str]) -> list[str]:
    """Spell out a numbered road (Appendix F): "HWY 49", "CR 12", "STATE RTE 20"."""
    short = {"CR": ["COUNTY", "ROAD"], "SR": ["STATE", "ROAD"], "CO": ["COUNTY"]}
    if len(tokens) < 2 or not tokens[-1][0].isdigit():
        return tokens
    words = [*short.get(tokens[0], [tokens[0]]), *tokens[1:-1]]
    if words[-1] not in HIGHWAYS:
        return tokens
    return [*words[:-1], HIGHWAYS[words[-1]], tokens[-1]]


@lru_cache(maxsize=65536)
def read_street(text: str, unit: str = "", beside: tuple[str, ...] = ()) -> Street | Trouble:
    """Return the parts of an address line, or what keeps it from being one.

    ``unit`` is the text of the unit column; ``beside`` are texts of other columns (city, state,
    ZIP) that a person may have repeated after a comma.
    """
    whole = plain(text)
    if _BOX.search(whole.replace(" ,", "")):
        return Trouble(
            "ADDRESS-BOX", "address",
            f'"{text}" is a mail box, not a place where work was done',
            "write the number and street of the place treated",
        )  # fmt: skip
    rural = _RURAL.match(whole)
    if rural:
        kind = "HC" if rural["kind"].startswith(("H", "S")) else "RR"
        name = f"{kind} {rural['route']} BOX {rural['box']}"
        return Street("", "", name, "", "", _unit(plain(unit).split()), rural=True)
    parts = [part.split() for part in whole.split(",")]
    repeated = {plain(item) for item in beside}
    kept = [part for part in parts if part and " ".join(part) not in repeated]
    if kept and len(kept) > 1 and _is_unit_start(kept[0], 0):
        kept = [*kept[1:], kept[0]]  # "Suite 4, 118 Main St"
    return _street(text, kept, plain(unit).replace(",", " ").split())


def _street(text: str, parts: list[list[str]], unit_cell: list[str]) -> Street | Trouble:
    tokens, inside = _split_unit(parts[0] if parts else [])
    for part in parts[1:]:
        if not _is_unit_start(part, 0) and not (len(part) == 1 and _is_label(part[0])):
            return Trouble(
                "ADDRESS-UNCLEAR", "address",
                f'"{" ".join(part)}" in "{text}" is neither a street nor a unit',
                "write number and street here, and unit, city, state and ZIP in their columns",
            )  # fmt: skip
        inside = inside + part
    if not tokens or not any(char.isdigit() for char in tokens[0]):
        return Trouble(
            "ADDRESS-NUMBER", "address", f'"{text}" has no street number',
            "write number and street, such as 118 Tollhouse Lane",
        )  # fmt: skip
    number, rest = tokens[0], tokens[1:]
    if rest and re.fullmatch(r"\d/\d", rest[0]):
        number, rest = f"{number} {rest[0]}", rest[1:]
    if not any(char.isalnum() for token in rest for char in token) or _is_only_unit(rest):
        return Trouble(
            "ADDRESS-STREET", "address", f'"{text}" has no street name',
            "write number and street, such as 118 Tollhouse Lane",
        )  # fmt: skip
    units = {_unit(item) for item in (inside, unit_cell) if item}
    if len(units) > 1:
        return Trouble(
            "ADDRESS-UNIT", "unit",
            f"the address says {_unit(inside)}, the unit column {_unit(unit_cell)}",
            "write the unit once, in its own column",
        )  # fmt: skip
    return _in_parts(number, rest, next(iter(units), ""))


def _in_parts(number: str, rest: list[str], unit: str) -> Street:
    numbered = _highway(rest)
    if numbered is not rest:
        return Street(number, "", " ".join(numbered), "", "", unit)
    before, rest = _direction(rest, at_end=False)
    after, rest = _direction(rest, at_end=True)
    numbered = _highway(rest)
    if numbered is not rest:
        return Street(number, before, " ".join(numbered), "", after, unit)
    suffix = SUFFIXES.get(rest[-1], "") if len(rest) > 1 else ""
    name = rest[:-1] if suffix else rest
    return Street(number, before, " ".join(name), suffix, after, unit)


def same_ordinals(name: str) -> str:
    """Return a street name with "SEVENTH" as "7TH", for comparing only."""
    words = []
    for word in name.split():
        number = _ORDINALS.get(word)
        ending = {1: "ST", 2: "ND", 3: "RD"}.get(number or 0, "TH")
        words.append(word if number is None else f"{number}{ending}")
    return " ".join(words)


@lru_cache(maxsize=4096)
def read_state(text: str) -> str | None:
    """Return the two letters of a state written either way, or None."""
    wanted = plain(text)
    return wanted if wanted in STATES else _STATE_OF.get(wanted)


@lru_cache(maxsize=65536)
def read_zip(text: str, state: str | None) -> tuple[str, str]:
    """Return five digits and a remark; no digits where the text is not a ZIP Code."""
    digits = re.sub(r"[\s\-\u2010-\u2015]", "", text)
    if re.fullmatch(r"\d{5}(?:\d{4})?", digits):
        return digits[:5], ""
    if re.fullmatch(r"\d{4}(?:\d{4})?", digits) and state in LEADING_ZERO:
        return f"0{digits[:4]}", f'ZIP "{text}" had lost its leading zero; read as 0{digits[:4]}'
    return "", ""


def read_address(draft: Draft) -> Reading[Address]:
    """Return the address of a line in normal form, with every fault of its columns at once."""
    texts = {name: cell(draft, name) for name in ("address", "unit", "city", "state", "zip")}
    faults: list[Fault] = []
    remarks: list[str] = []

    def wrong(code: str, column: str, what: str, way_out: str) -> None:
        faults.append(Fault(code, draft.at(column), what, way_out))

    beside = _beside(texts["city"], texts["state"], texts["zip"])
    street = read_street(texts["address"], texts["unit"], beside) if texts["address"] else None
    if street is None:
        wrong("ADDRESS-MISSING", "address", "no address and no site key",
              "write number and street, or the key of a known site in `site`")  # fmt: skip
    elif isinstance(street, Trouble):
        wrong(street.code, street.column, street.what, street.way_out)
    city = plain(texts["city"]).replace(" ,", "")
    if not city:
        wrong("ADDRESS-CITY", "city", "no city", "write the city of the place treated")
    state = read_state(texts["state"])
    if state is None:
        what = f'"{texts["state"]}" is not a state' if texts["state"] else "no state"
        wrong("ADDRESS-STATE", "state", what, "write its two letters, such as CA")
    zip5, said = read_zip(texts["zip"], state)
    if said:
        remarks.append(said)
    if not zip5:
        what = f'"{texts["zip"]}" is not a ZIP Code' if texts["zip"] else "no ZIP Code"
        wrong("ADDRESS-ZIP", "zip", what, "write five digits, or nine as 95603-1234")
    if faults or not isinstance(street, Street) or state is None:
        return Reading(None, tuple(faults), tuple(remarks))
    return Reading(Address(street.line, street.unit, city, state, zip5), (), tuple(remarks))


def _beside(city: str, state: str, zip5: str) -> tuple[str, ...]:
    """Return the ways in which the last line may be repeated after the street."""
    states = {state, read_state(state) or state}
    zips = {zip5, zip5[:5]}
    lasts = {f"{one} {two}" for one in states for two in zips}
    return (city, *states, *zips, *lasts, *(f"{city} {last}" for last in lasts))
