"""Limits on how much and how strong: the keys of a shape become a limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from ledger.rulebook import grammar
from ledger.rulebook.bounds import (
    BY,
    breaks_below,
    denominator,
    each,
    second_denominator,
    share_of,
    window,
)
from ledger.rulebook.model import Limit, Shape
from ledger.rulebook.part import Part
from ledger.values.amount import Basis

_MEASURED = ("length", "area", "volume")


def _basis(part: Part) -> Basis:
    return Basis(part.phrase("basis", tuple(Basis), Basis.PRODUCT) or Basis.PRODUCT)


def _rate(part: Part, said: Part, base: Limit) -> Limit:
    basis = _basis(part)
    dimensions = ("mass",) if basis is Basis.INGREDIENT else ("mass", "volume")
    per, per_what = denominator(said, grammar.PER_COUNTS, _MEASURED)
    also, also_what = second_denominator(part)
    return replace(
        base,
        basis=basis,
        most=said.quantity("most", *dimensions),
        least=said.quantity("least", *dimensions),
        per=per,
        per_what=per_what,
        also_per=also,
        also_per_what=also_what,
        of=_of(part, per_what),
        below_breaks=breaks_below(part),
    )


def _of(part: Part, per_what: str) -> str:
    """Return whether the treated or the total measure divides; only area and length have both."""
    of = part.phrase("of", grammar.OF, "treated") or "treated"
    if of == "total" and per_what not in {"area", "length", ""}:
        what = f"there is no total of {per_what}"
        part.fault("of", "RULE-PHRASE", what, "take it out, or write per an area or a length")
    return of


def _count(part: Part, said: Part, base: Limit) -> Limit:
    per, per_what = denominator(said, grammar.COUNT_PER, _MEASURED)
    measure = part.phrase("measure", grammar.COUNT_MEASURES)
    return replace(
        base, measure=measure, most=each(said, "most"), least=each(said, "least"), per=per,
        per_what=per_what, below_breaks=breaks_below(part),
    )  # fmt: skip


def _strength(part: Part, said: Part, base: Limit) -> Limit:
    base = replace(base, below_breaks=breaks_below(part))
    texts = {key: said.text(key) for key in ("most", "least") if said.has(key)}
    if not any("%" in text or "ppm" in text for text in texts.values()):
        if not said.has("per"):
            way_out = 'write per = "1 gal", or most = "0.1 % ai"'
            said.fault("", "RULE-MISSING-KEY", 'the key "per" is missing', way_out)
        most, least = (
            said.quantity("most", "mass", "volume"),
            said.quantity("least", "mass", "volume"),
        )
        return replace(
            base, most=most, least=least, per=said.quantity("per", "volume"), per_what="mix"
        )
    if said.has("per"):
        way_out = "take per out; a per cent is of the mix"
        said.fault("per", "RULE-TWICE", "a per cent has no denominator", way_out)
    found = {key: share_of(said, key, text) for key, text in texts.items()}
    of = {basis for _, basis in found.values()}
    if len(of) > 1:
        what = "most and least are per cents of different things"
        said.fault("least", "RULE-BOUND", what, "write both of ai, or both of product")
    most, least = (found.get(key, (None, Basis.INGREDIENT))[0] for key in ("most", "least"))
    return replace(base, most=most, least=least, basis=of.pop())


def _enclosure(_part: Part, said: Part, base: Limit) -> Limit:
    text = said.text("more_than")
    sides = BY.split(text)
    if text and len(sides) == 1:
        space = said.measured("more_than", text, "volume")
        return replace(base, measure="volume", least=space)
    if text and len(sides) != 2:
        way_out = 'write "5 ft by 5 ft" or "200 cu ft"'
        said.fault("more_than", "RULE-NUMBER", f'"{text}" is not a size', way_out)
        return base
    one, two = (
        (said.measured("more_than", side, "length") for side in sides) if text else (None,) * 2
    )
    return replace(base, measure="room length", least=one, per=two, per_what="room width")


def _geometry(part: Part, said: Part, base: Limit) -> Limit:
    measure = part.phrase("measure", grammar.GEOMETRY_MEASURES)
    dimension = "area" if measure == "patch area" else "length"
    return replace(
        base,
        measure=measure,
        most=said.quantity("most", dimension),
        least=said.quantity("least", dimension),
        below_breaks=breaks_below(part),
    )


def _spacing(_part: Part, said: Part, base: Limit) -> Limit:
    most, least = said.quantity("most", "length"), said.quantity("least", "length")
    return replace(base, measure="spacing", most=most, least=least)


def _share(_part: Part, said: Part, base: Limit) -> Limit:
    return replace(base, measure="area", per_what="total area", most=said.quantity("most", "share"))


def _total(part: Part, said: Part, base: Limit) -> Limit:
    basis = _basis(part)
    dimensions = ("mass",) if basis is Basis.INGREDIENT else ("mass", "volume")
    counts = ("dwellings", "structures", "rooms", "placements")
    per, per_what = denominator(said, counts, ("area", "length"))
    within, rolling, season = window(part, grammar.WITHIN_TOTAL)
    across = part.phrase("across", grammar.ACROSS, "product") or "product"
    if across == "ingredient" and basis is not Basis.INGREDIENT:
        what = "products differ in strength, so only their active ingredient adds up"
        part.fault("across", "RULE-BOUND", what, 'write basis = "ai", or leave across out')
    return replace(
        base, basis=basis, most=said.quantity("most", *dimensions), per=per, per_what=per_what,
        of=_of(part, per_what), within=within, rolling=rolling, season=season,
        same=part.phrase("same", grammar.SAME), across=across,
        words=part.words("ingredients", "ingredient"),
    )  # fmt: skip


DOSE_READERS: Mapping[Shape, Callable[[Part, Part, Limit], Limit]] = {
    Shape.RATE: _rate,
    Shape.COUNT: _count,
    Shape.STRENGTH: _strength,
    Shape.ENCLOSURE: _enclosure,
    Shape.GEOMETRY: _geometry,
    Shape.SPACING: _spacing,
    Shape.SHARE: _share,
    Shape.TOTAL: _total,
}
"""How a shape that bounds an amount, a number or a size is read."""
