"""How a field of the law is said: fixed words, units, length, words and ways that are refused."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping

from ledger.checks.case import Case
from ledger.rulebook.model import Requirement
from ledger.values.amount import Strength
from ledger.values.lexicon import fold

Manner = tuple[str, str, str]
"""The code of a finding, what is wrong, and the way out."""

_BOX = re.compile(r"\b(?:p\.?\s*o\.?|post\s*-?\s*office)\s*box\b|\bpob\b", re.IGNORECASE)
_INITIAL = re.compile(r"[A-Za-z]\.?")
_SPELT = {"method": "method", "pests": "pest", "setting": "setting", "site_kind": "site_kind"}


def said_under(case: Case, field: str) -> tuple[str, ...]:
    """Return what the record says under a field of the law, each text as a person reads it.

    A word of a closed list stands for all its spellings: a line with the method ``spot`` says
    "spot treatment". Under ``dilution`` a mix of none says "no dilution".
    """
    use, address = case.use, case.site.address
    if field == "address":
        return (" ".join(filter(None, (address.street, address.unit))), case.site.typed)
    if field == "dilution":
        if use.dilution is None:
            return ()
        none = ("no dilution",) if use.dilution.strength is Strength.NONE else ()
        return (use.dilution.text, *none)
    value = getattr(use, field, "")
    texts = (value,) if isinstance(value, str) else value if isinstance(value, tuple) else ()
    said = [text for text in texts if isinstance(text, str)]
    for text in tuple(said):
        word = case.words.find(_SPELT[field], text) if field in _SPELT else None
        said += word.also if word else ()
    return tuple(said)


def post_office_box(case: Case, field: str) -> str:
    """Return the text that is a post-office box and no place where work is done, or nothing."""
    return next((text for text in said_under(case, field) if _BOX.search(text)), "")


def initials_only(case: Case, field: str) -> str:
    """Return the text that has an initial where a whole name belongs, or nothing."""
    for text in said_under(case, field):
        names = text.split()
        if names and (_INITIAL.fullmatch(names[0]) or all(map(_INITIAL.fullmatch, names))):
            return text
    return ""


_WAYS: Mapping[str, tuple[Callable[[Case, str], str], str]] = {
    "post-office box": (post_office_box, "write the street address"),
    "initials": (initials_only, "write the whole name"),
}


def units_taken(case: Case, units: tuple[str, ...]) -> str:
    """Return the unit of the amount where the law does not take it, or nothing."""
    unit = case.use.amount.quantity.unit
    return "" if unit in units else unit


def manners(case: Case, rule: Requirement) -> Iterator[Manner]:
    """Yield everything that is not said as the rule wants it, of a field that the record holds."""
    field = rule.groups[0][0]
    texts = said_under(case, field)
    spoken = [fold(text) for text in (*texts, case.use.note)]
    if rule.words and not any(fold(word) in text for word in rule.words for text in spoken):
        listed = ", ".join(f'"{word}"' for word in rule.words)
        what = f"neither {field} nor the note has the words {listed}"
        yield "FIELD-WORDS", what, f"amend {field} or note"
    if rule.units and (unit := units_taken(case, rule.units)):
        listed = ", ".join(rule.units)
        what = f"the amount is written in {unit}; the law takes {listed}"
        yield "FIELD-UNIT", what, f"amend amount, in {listed}"
    if rule.longest is not None:
        for text in texts[:1]:
            if len(text) > rule.longest:
                what = f"{field} has {len(text)} characters; the law takes {rule.longest}"
                yield "FIELD-LENGTH", what, f"amend {field}, shorter"
    refused = {fold(word) for word in rule.refused}
    for text in texts:
        if fold(text) in refused:
            yield "FIELD-REFUSED", f'"{text}" is not accepted', f"amend {field}, more exactly"
    for way in rule.not_as:
        look, way_out = _WAYS[way]
        if found := look(case, field):
            yield "FIELD-WAY", f'"{found}" is not accepted ({way})', f"amend {field}: {way_out}"
