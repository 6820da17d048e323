"""List cells whose items say more than a word: places avoided, and what was prepared."""

from __future__ import annotations

import re

from ledger.normalise.text import clean, remark
from ledger.normalise.words import read_word, split_list
from ledger.numbers import read_quantity
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.entry import Avoided
from ledger.values.finding import Finding
from ledger.values.lexicon import Words, fold
from ledger.values.origin import Origin

NONE_PRESENT = "none present"
_NONE_AVOIDED = frozenset({"none present", "none", "nothing", "nothing to avoid", "no such places"})
_NONE_PREPARED = frozenset({"none", "nothing", "none needed", "nothing needed"})
_ITEM = re.compile(r"^(?P<place>[^()]*?)\s*(?:\((?P<said>.*)\))?$")


def read_avoided(
    text: str, words: Words, units: Units, origin: Origin
) -> tuple[tuple[Avoided, ...], str, tuple[Finding, ...]]:
    """Return the places left alone, what was said (given, none present, blank), and remarks.

    ``refrigerator (moving air); creek (water, 60 ft)``: after a place its reason and, if it
    matters, how far away it was. A reason that is not known is kept as written.
    """
    items = split_list(text)
    if not items:
        return (), "blank", ()
    if len(items) == 1 and fold(items[0]) in _NONE_AVOIDED:
        return (), NONE_PRESENT, ()
    found: list[Avoided] = []
    remarks: list[Finding] = []
    for item in items:
        parts = _ITEM.match(item)
        place_text, said = (parts["place"], parts["said"] or "") if parts else (item, "")
        place, more = read_word(clean(place_text), "place", "avoided", words)
        remarks.extend(more)
        reason, distance, about = _said(said, words, units, origin)
        remarks.extend(about)
        found.append(Avoided(place, reason, distance))
    return tuple(found), "given", tuple(remarks)


def _said(
    text: str, words: Words, units: Units, origin: Origin
) -> tuple[str, Quantity | None, list[Finding]]:
    """Return the reason and the distance inside the parentheses, and remarks on either."""
    reasons: list[str] = []
    distance: Quantity | None = None
    remarks: list[Finding] = []
    for part in filter(None, map(clean, re.split(r",(?!\d{3}\b)|;", text))):
        if not part[0].isdigit() and part[0] not in "½¼¾.":
            reason, more = read_word(part, "reason", "avoided", words)
            reasons.append(reason)
            remarks.extend(more)
            continue
        reading = read_quantity(part, units, origin, "length")
        if reading.value is None:
            reasons.append(part)
            why = reading.faults[0].what if reading.faults else "not a length"
            said = f'the distance "{part}" is not understood: {why}'
            remarks.append(remark("DISTANCE-UNREADABLE", "avoided", said, "write it as 60 ft"))
        else:
            distance = reading.value
    return ", ".join(reasons), distance, remarks


def read_prepared(text: str, words: Words) -> tuple[tuple[str, ...], str, tuple[Finding, ...]]:
    """Return what was done for the label, what was said (given, none, blank), and remarks.

    An item may say by whom, when or how long in parentheses, ``ventilated (after, 30 min)``;
    that is kept behind the word as it was written.
    """
    if not clean(text):
        return (), "blank", ()
    if fold(text) in _NONE_PREPARED:
        return (), "none", ()
    found: list[str] = []
    remarks: list[Finding] = []
    for item in split_list(text):
        parts = _ITEM.match(item)
        said = clean(parts["said"] or "") if parts else ""
        bare = parts["place"] if parts and said else item
        word, more = read_word(clean(bare), "preparation", "prepared", words)
        remarks.extend(more)
        kept = f"{word} ({said})" if said else word
        if kept not in found:
            found.append(kept)
    return tuple(found), "given", tuple(remarks)
