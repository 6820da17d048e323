"""Words of the closed lists: known ones in canonical spelling, others as typed and said so."""

from __future__ import annotations

from functools import lru_cache

from ledger.normalise.text import clean, remark
from ledger.values.finding import Finding
from ledger.values.lexicon import Words


@lru_cache(maxsize=65536)
def split_list(text: str) -> tuple[str, ...]:
    """Return the items of a list cell: parted by ``;`` or a line break, outside parentheses."""
    items: list[str] = []
    depth, start = 0, 0
    for at, char in enumerate(text):
        depth += (char == "(") - (char == ")" and depth > 0)
        if char in ";\n\r" and depth == 0:
            items.append(text[start:at])
            start = at + 1
    items.append(text[start:])
    return tuple(item for item in map(clean, items) if item)


def read_word(
    text: str, list_name: str, column: str, words: Words
) -> tuple[str, tuple[Finding, ...]]:
    """Return the word in canonical spelling, or as typed with a remark naming the nearest.

    An unknown word never holds a line: what happened must be bookable in the words at hand.
    """
    if not text:
        return "", ()
    word = words.find(list_name, text)
    if word is not None:
        return word.name, ()
    near = words.nearest(list_name, text)
    what = list_name.replace("_", " ")
    way_out = (
        f'did you mean "{near}"?' if near else "`useledger rules show words` lists the known ones"
    )
    said = f'"{text}" is not a known {what}; kept as written, and no rule recognises it'
    return text, (remark("WORD-UNKNOWN", column, said, way_out),)


def read_words(
    text: str, list_name: str, column: str, words: Words
) -> tuple[tuple[str, ...], tuple[Finding, ...]]:
    """Return every word of a list cell once, in the order written, with all remarks."""
    found: dict[str, None] = {}
    remarks: list[Finding] = []
    for item in split_list(text):
        word, said = read_word(item, list_name, column, words)
        if word not in found:
            remarks.extend(said)
        found[word] = None
    return tuple(found), tuple(remarks)
