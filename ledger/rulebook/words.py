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
