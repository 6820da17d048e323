"""What a line says was done, said or seen: the words of ``prepared`` with what stands behind them.

``food covered (customer, before)``, ``ventilated (after, 30 min)``, ``surface temperature (45 F)``:
who did it, when in the job, and a measure. Each is optional; what is not said stays unknown.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from ledger.checks.case import Case
from ledger.checks.say import Tools
from ledger.numbers import read_quantity
from ledger.rulebook.grammar import STEPS, TASKS, WHO
from ledger.values.amount import Quantity
from ledger.values.lexicon import fold
from ledger.values.origin import Origin

_ITEM = re.compile(r"(?P<word>[^()]*?)\s*\((?P<said>.*)\)")
_NOWHERE = Origin("")


@dataclass(frozen=True, slots=True)
class Done:
    """One word of ``prepared``: by whom, in which step of the job, for which task, how much."""

    word: str
    who: str = ""
    step: str = ""
    task: str = ""
    measures: tuple[Quantity, ...] = ()


def word_of(item: str) -> str:
    """Return the word of an item without what stands in its parentheses."""
    parts = _ITEM.fullmatch(item)
    return parts["word"] if parts else item


def done_of(case: Case, tools: Tools) -> tuple[Done, ...]:
    """Return every item of ``prepared``, understood."""
    return tuple(_understood(item, tools) for item in case.use.prepared)


def _understood(item: str, tools: Tools) -> Done:
    parts = _ITEM.fullmatch(item)
    if parts is None:
        return Done(fold(item))
    who = step = task = ""
    measures: list[Quantity] = []
    for piece in (fold(text) for text in parts["said"].split(",")):
        reading = read_quantity(piece, tools.units, _NOWHERE)
        if reading.value is not None:
            measures.append(reading.value)
        elif piece in WHO:
            who = piece
        elif piece in STEPS:
            step = piece
        elif piece in TASKS:
            task = piece
    return Done(fold(parts["word"]), who, step, task, tuple(measures))


def measured(done: tuple[Done, ...], word: str, unit: str, tools: Tools) -> Iterator[Quantity]:
    """Yield the measures in the dimension of ``unit`` that stand behind a word."""
    for item in done:
        if item.word == fold(word):
            yield from (q for q in item.measures if tools.into(q, unit) is not None)
