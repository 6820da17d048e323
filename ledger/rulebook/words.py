"""The closed lists of words from ``rules/words.toml``.

The grammar of the file::

    format = 1
    id = "words"
    title = "..."
    checked_on = 2025-11-20

    [[method]]                         # one table a word; the table's name is the list
    name = "crack and crevice"         # the canonical spelling
    also = ["cracks", "c and c"]       # optional: other spellings (case, & and spaces ignored)
    traits = ["..."]                   # optional: what rules care about

The lists: ``method setting site_kind pest place preparation reason notice work equipment
ingredient condition trait``. ``[[trait]]`` (name only) closes the list of traits: once it stands
in the file, every trait of every word must be in it. No spelling may stand for two words of one
list. ``reason`` holds the reasons of avoided places and the subjects of ``ask`` limits.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ledger.rulebook.grammar import TABLES, WORD_LISTS, Keys
from ledger.rulebook.part import Part
from ledger.values.lexicon import Word, Words, fold

FILE_KEYS = Keys(("format", "id", "title", "checked_on"), ("stale_after_months", *WORD_LISTS))


def read_words(root: Part) -> Words:
    """Return the closed lists; a word with a fault is left out, the others stand."""
    lists: dict[str, tuple[Word, ...]] = {}
    closed = _list(root, "trait", None)
    known = {fold(word.name): word.name for word in closed} if closed else None
    for name in WORD_LISTS:
        if name != "trait" and root.has(name):
            lists[name] = _list(root, name, known)
    lists["trait"] = closed or _traits_in(lists)
    return Words(lists)


def _traits_in(lists: Mapping[str, Iterable[Word]]) -> tuple[Word, ...]:
    """Return every trait that some word has, where the file does not close their list."""
    every = (trait for words in lists.values() for word in words for trait in word.traits)
    return tuple(Word(trait) for trait in dict.fromkeys(every))


def _list(root: Part, name: str, traits: Mapping[str, str] | None) -> tuple[Word, ...]:
    """Return one list of words; no spelling may stand for two of them."""
    taken: dict[str, str] = {}
    found: list[Word] = []
    keys = Keys(("name",)) if name == "trait" else TABLES["word"]
    for part in root.parts(name, keys):
        word = Word(
            part.text("name"),
            part.texts("also") if part.has("also") else (),
            _traits(part, traits) if part.has("traits") else (),
        )
        if not word.name or not _free(part, word, taken):
            continue
        found.append(word)
    return tuple(found)


def _free(part: Part, word: Word, taken: dict[str, str]) -> bool:
    """Note a word's spellings; False where its name already means another word."""
    for number, spelling in enumerate((word.name, *word.also)):
        other = taken.get(fold(spelling))
        spot = part.at("name") if number == 0 else f"{part.at('also')}[{number}]"
        if other is not None:
            what = f'"{spelling}" already stands for "{other}"'
            part.page.fault(spot, "RULE-DUPLICATE", what, "keep it at one of the two words")
            if number == 0:
                return False
        taken.setdefault(fold(spelling), word.name)
    return True


def _traits(part: Part, known: Mapping[str, str] | None) -> tuple[str, ...]:
    """Return a word's traits, each of which must be in the closed list, if there is one."""
    texts = part.texts("traits")
    if known is None:
        return texts
    chosen = (
        part.choose("traits", known.get(fold(text), text), list(known.values())) for text in texts
    )
    return tuple(text for text in chosen if text)
