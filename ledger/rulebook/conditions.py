"""Conditions as a rule file writes them (``[[limit.when]]``) -> tests."""

from __future__ import annotations

from collections.abc import Mapping

from ledger.rulebook.grammar import FACT_LEVELS, FACTS, FLAG_WORDS, NOZZLES, PRESSURES, Keys
from ledger.rulebook.model import Condition, Op, Test
from ledger.rulebook.part import Part, kind_of, listed
from ledger.values.product import Formulation, ProductClass

_FACT_KEYS = Keys((), tuple(FACTS))
_WORD_OPS = Keys((), ("none_of", "given"))
_BOUNDS = (Op.AT_LEAST, Op.AT_MOST, Op.MORE_THAN, Op.LESS_THAN)
_QUANTITY_OPS = Keys((), (*(op.value for op in _BOUNDS), "given"))
_GIVEN_OPS = Keys((), ("given",))
_CLOSED: Mapping[str, tuple[str, ...]] = {
    "formulation": tuple(Formulation),
    "product_class": tuple(ProductClass),
    "level": FACT_LEVELS,
    "flag": FLAG_WORDS,
    "nozzle": NOZZLES,
    "pressure": PRESSURES,
}


def read_condition(part: Part) -> Condition:
    """Return the blocks under ``when``: one table, or an array of tables that means "or"."""
    if isinstance(part.table.get("when"), Mapping):
        block = part.part("when", _FACT_KEYS)
        return (_block(block),) if block else ()
    return tuple(_block(block) for block in part.parts("when", _FACT_KEYS))


def _block(block: Part) -> tuple[Test, ...]:
    """Return the tests of one block; an empty block would hold always, so it is a fault."""
    if not block.table:
        way_out = "name a fact, or take the block out"
        block.fault("", "RULE-BLANK", "a condition without a line", way_out)
    tests: list[Test] = []
    for fact in block.table:
        if fact in FACTS:
            tests.extend(_tests(block, fact))
    return tuple(tests)


def _tests(block: Part, fact: str) -> tuple[Test, ...]:
    sort = FACTS[fact]
    said = block.table[fact]
    if isinstance(said, bool) and sort == "flag":
        return (Test(fact, Op.ANY_OF, ("yes" if said else "no",)),)
    if isinstance(said, list) and not sort.startswith("quantity") and sort != "given":
        return (Test(fact, Op.ANY_OF, _words(block, fact, sort)),)
    if isinstance(said, Mapping):
        return _compared(block, fact, sort)
    way_out = f"write {_WRITE['quantity' if sort.startswith('quantity') else sort]}"
    block.fault(fact, "RULE-TYPE", f"{kind_of(said)} cannot be compared here", way_out)
    return ()


class _Write(dict[str, str]):
    """How a condition on each sort of fact is written."""

    def __missing__(self, sort: str) -> str:
        return 'a list, as ["a", "b"], or { none_of = [...] }, or { given = true }'


_WRITE = _Write(
    given="{ given = true }",
    flag='true or false, or ["yes"]',
    quantity='{ at_least = "10 mph" } or { at_most = ... }, or { given = true }',
)


def _compared(block: Part, fact: str, sort: str) -> tuple[Test, ...]:
    """Return the tests of ``fact = { at_least = ..., at_most = ... }`` and its like."""
    quantity = sort.startswith("quantity:")
    keys = _QUANTITY_OPS if quantity else _GIVEN_OPS if sort == "given" else _WORD_OPS
    part = block.part(fact, keys)
    if part is None:
        return ()
    if not part.table:
        part.fault("", "RULE-BLANK", "an empty comparison", f"allowed: {listed(keys.allowed)}")
    tests: list[Test] = []
    if part.has("none_of") and keys is _WORD_OPS:
        tests.append(Test(fact, Op.NONE_OF, _words(part, "none_of", sort)))
    if part.has("given"):
        tests.append(Test(fact, Op.GIVEN, flag=part.flag("given", default=True)))
    if quantity:
        for op in _BOUNDS:
            bound = part.quantity(op.value, sort.partition(":")[2])
            if bound is not None:
                tests.append(Test(fact, op, quantity=bound))
    return tuple(tests)


def _words(part: Part, key: str, sort: str) -> tuple[str, ...]:
    """Return the words of a list, checked against the closed list of that fact."""
    if sort in _CLOSED:
        return part.phrases(key, _CLOSED[sort])
    if sort == "county":
        counties = part.page.counties
        return part.phrases(key, counties) if counties else part.texts(key)
    return part.words(key, sort.removeprefix("words:"))
