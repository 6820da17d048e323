"""Shapes of lines: what the entries of a kind have in common, learned from proved lines.

A line is canonical if it is written as RFC 8785 has it. To show that, it is read and written again:
the same bytes must come out. Where its shape is known (which keys in which order; where a text, a
whole number or null, where a list, where an object stands) that takes half of the time, and nothing
else can stand there: no decimal, no true or false. A line that has another shape shows nothing: it
is read without one, and what was new in it is learned.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from operator import attrgetter
from typing import Annotated, Any

import msgspec

from ledger.seal import LARGEST, is_plainly_written
from ledger.values.sealed import EntryKind

KINDS = frozenset(
    str(kind)
    for kind in (
        EntryKind.APPLICATION, EntryKind.AMENDMENT, EntryKind.OBSERVATION, EntryKind.SITE,
        EntryKind.HELD, EntryKind.JUDGEMENT,
    )
)  # fmt: skip
"""The kinds of which a ledger has many."""

MOST_KEYS, MOST_LESSONS = 6, 200
"""How many sets of keys of one kind are told apart, and how often one kind is learned anew."""

MOST_ITEMS = 100
"""How many items of a list are looked at; what others have beside is learned another time."""

_PLAIN = str | Annotated[int, msgspec.Meta(ge=-LARGEST, le=LARGEST)] | None
"""What stands everywhere but in an object or a list."""


@dataclass(frozen=True, slots=True)
class Shape:
    """What was seen at a place beside plain values: the keys of an object, the items of a list."""

    keys: dict[str, Shape] | None = None
    items: Shape | None = None

    def type(self, **also: object) -> Any:  # noqa: ANN401 - a type made while it runs
        """Return the type of this place; ``also`` are attributes of its object that no key has."""
        found: Any = _PLAIN
        if self.items is not None:
            found |= list[self.items.type()]  # type: ignore[misc] # made while it runs
        if self.keys is not None:
            found |= _object({key: inner.type() for key, inner in self.keys.items()}, also)
        return found


_VALUE = Shape()


def shape_of(value: object) -> Shape:
    """Return the shape of a value; ValueError where the items of a list have no shape together."""
    if isinstance(value, dict):
        return Shape({key: shape_of(item) for key, item in value.items()})
    if isinstance(value, list):
        items = _VALUE
        for item in value[:MOST_ITEMS]:
            items = joined(items, shape_of(item))
        return Shape(items=items)
    return _VALUE


def joined(one: Shape, other: Shape) -> Shape:
    """Return the shape with room for both; ValueError where objects with other keys meet."""
    if one == other:
        return one
    keys = other.keys if one.keys is None else one.keys
    if one.keys is not None and other.keys is not None:
        if list(one.keys) != list(other.keys):
            raise ValueError("other keys")
        keys = {key: joined(inner, other.keys[key]) for key, inner in one.keys.items()}
    items = other.items if one.items is None else one.items
    if one.items is not None and other.items is not None:
        items = joined(one.items, other.items)
    return Shape(keys, items)


class _NoUse:
    """Stands for the amount of a line that has none."""

    k_unit = k_denominator = k_numerator = None


_BODY = ("jurisdiction", "county", "product_key", "site_code", "site", "applicator", "visit",
         "identity", "own", "clears", "first", "last")  # fmt: skip
_USED = ("unit", "denominator", "numerator")
_LINE = ("kind", "seq", "form", "at", "by", "os_user", "prev", "private", "replaces", "refers")

_NAMES = {"by": "by_person", "first": "first_seq", "last": "last_seq"}
PLAIN_COLUMNS = tuple(_NAMES.get(key, key) for key in (*_LINE, *_BODY, *_USED))
"""The columns that hold what a line says as it says it, in the order of ``Known.columns``."""

_of_line, _of_body, _of_use = (
    attrgetter(*(f"k_{key}" for key in keys)) for keys in (_LINE, _BODY, _USED)
)
_encode = msgspec.json.Encoder().encode


class Shapes:
    """Reads lines by the shapes it has learned."""

    def __init__(self) -> None:
        self._known: dict[str, list[tuple[Shape, Callable[[bytes], Any]]]] = {}
        self._lessons: Counter[str] = Counter()

    def read(self, kind: str, data: bytes) -> tuple[Any, tuple[Any, ...]] | None:
        """Return what a canonical line of this kind says and its plain columns; None: cannot tell.

        Of a value the attribute is named by its key behind ``k_``.
        """
        if kind in self._known and is_plainly_written(data):
            for _, decode in self._known[kind]:
                try:
                    line = decode(data)
                    if _encode(line) == data:
                        body = line.k_body
                        return line, _of_line(line) + _of_body(body) + _of_use(body.k_used)
                except (msgspec.DecodeError, AttributeError):
                    continue  # the line has another shape
        return None

    def learn(self, kind: str, line: dict[str, Any]) -> None:
        """Learn the shape of a canonical line that could not be read."""
        if kind not in KINDS or self._lessons[kind] > MOST_LESSONS:
            return
        known = self._known.setdefault(kind, [])
        try:
            shape = shape_of(line)
        except ValueError:
            return
        for place, (before, _) in enumerate(known):
            try:
                shape = joined(before, shape)
            except ValueError:
                continue
            if shape == before:
                return  # it is something else that could not be told
            del known[place]
            break
        self._lessons[kind] += 1
        if len(known) < MOST_KEYS:
            known.insert(0, (shape, msgspec.json.Decoder(_type_of(shape)).decode))


def _type_of(shape: Shape) -> Any:  # noqa: ANN401 - a type made while it runs
    """Return the type of a whole line; what a column holds and a body lacks is None."""
    assert shape.keys is not None
    lacking: dict[str, object] = {f"k_{key}": None for key in (*_BODY, "date", "label")}
    body = shape.keys["body"].type(**lacking, k_used=_NoUse)
    parts = {key: body if key == "body" else inner.type() for key, inner in shape.keys.items()}
    return _object(parts, {})


def _object(parts: Mapping[str, Any], also: Mapping[str, object]) -> Any:  # noqa: ANN401 - as above
    """Return the type of an object; ``also`` are attributes of it that have no key."""
    fields = [(f"k_{key}", kind) for key, kind in parts.items()]
    names = {f"k_{key}": key for key in parts}
    extra = {name: value for name, value in also.items() if name not in names}
    return msgspec.defstruct("Object", fields, rename=names, namespace=extra, gc=False)
