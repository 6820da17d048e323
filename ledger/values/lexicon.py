"""What the ledger knows by name: words, products, people, tools, places of law."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import lru_cache
from typing import Any

from ledger.values.firm import Firm
from ledger.values.later import Later
from ledger.values.product import Product


@lru_cache(maxsize=65536)
def fold(text: str) -> str:
    """Return ``text`` as words are compared: lower case, ``&`` as ``and``, single spaces."""
    return " ".join(text.replace("\u00a0", " ").replace("&", " and ").casefold().split())


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a closed list, its other spellings and its traits.

    Traits say what rules care about: the place "under refrigerator" has the traits ``kitchen``
    and ``appliance fan``.
    """

    name: str
    also: tuple[str, ...] = ()
    traits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Words:
    """The closed lists of ``rules/words.toml``, by list name ("method", "pest", "place" ...)."""

    lists: Mapping[str, tuple[Word, ...]]
    _index: dict[tuple[str, str], Word] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index: dict[tuple[str, str], Word] = {}
        for name, words in self.lists.items():
            for word in words:
                for spelling in (word.name, *word.also):
                    index[name, fold(spelling)] = word
        object.__setattr__(self, "_index", index)

    def find(self, list_name: str, text: str) -> Word | None:
        """Return the word of that list spelt ``text`` (case, ``&`` and spacing ignored)."""
        return self._index.get((list_name, fold(text)))

    def nearest(self, list_name: str, text: str) -> str | None:
        """Return the nearest known spelling of that list, to be offered to a person."""
        known = [spelling for name, spelling in self._index if name == list_name]
        found = get_close_matches(fold(text), known, n=1)
        return self._index[list_name, found[0]].name if found else None

    def traits(self, list_name: str, text: str) -> frozenset[str]:
        """Return the traits of that word; none for a word that is not known."""
        word = self.find(list_name, text)
        return frozenset(word.traits) if word else frozenset()


@dataclass(frozen=True, slots=True)
class PlaceOfLaw:
    """What normalising needs of a jurisdiction: its state, zone, counties and site codes.

    ``counties`` pairs a county's name with its number there; ``site_codes`` maps a line of work
    to the code that the regulator's form uses.
    """

    id: str
    state: str
    name: str
    time_zone: str
    counties: tuple[tuple[str, str], ...] = ()
    site_codes: tuple[tuple[str, str], ...] = ()

    def county_number(self, county: str) -> str | None:
        """Return the number of that county, or None where the list does not have it."""
        wanted = fold(county)
        return next((number for name, number in self.counties if fold(name) == wanted), None)


@dataclass(frozen=True)
class Lexicon:
    """Everything that step 2 looks words up in. ``doubtful`` maps the id or registration of a
    label file that could not be read to its path; ``memory`` keeps what was read with it."""

    firm: Firm
    words: Words
    products: tuple[Product, ...]
    places_of_law: Sequence[PlaceOfLaw] = ()
    doubtful: Mapping[str, str] = field(default_factory=dict)
    memory: dict[str, Any] = field(
        init=False, default_factory=dict, repr=False, compare=False
    )  # never handed on: another lexicon reads the same text otherwise

    def place_of_law(self, state: str) -> PlaceOfLaw | None:
        """Return the jurisdiction of a state ("CA"), or None where no file describes it."""
        if isinstance(self.places_of_law, Later):  # by state, so that only this one is read
            return self.places_of_law.get(state)
        return next((place for place in self.places_of_law if place.state == state), None)

    def place(self, jurisdiction: str) -> PlaceOfLaw | None:
        """Return the jurisdiction of an id ("us-ca"), or None where no file describes it."""
        if isinstance(self.places_of_law, Later):
            found = self.places_of_law.get(jurisdiction.removeprefix("us-").upper())
            return found if found and found.id == jurisdiction else None
        return next((place for place in self.places_of_law if place.id == jurisdiction), None)
