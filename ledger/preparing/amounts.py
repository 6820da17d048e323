"""How much may be used, how it is mixed, how many placements: numbers for the truck."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.dose import in_unit, strength
from ledger.checks.rates import counted_dose, extent
from ledger.checks.say import Tools, per_words, plain, said
from ledger.preparing.ladder import (
    FLUID_OUNCES,
    GRAMS,
    MILLILITRES,
    MIX_GALLONS,
    MIX_OUNCES,
    OUNCES,
    Bound,
    Scale,
    Try,
    climb,
)
from ledger.preparing.rules_here import Here, of_shape, tools_for
from ledger.preparing.stage import Judged, Said, Stage, said_of, source_text
from ledger.rulebook.model import Limit
from ledger.values.amount import Basis, Quantity
from ledger.values.entry import Application
from ledger.values.extent import Extent
from ledger.values.finding import Kind
from ledger.values.product import Product

ESTIMATE = "an estimate: weigh before and after"


@dataclass(frozen=True, slots=True)
class Most:
    """The most that may be used, on each scale, and which rules say so.

    ``bounds`` is empty where no amount passes. ``undecided`` names the rules on the amount that
    cannot be told yet: the true maximum may be lower.
    """

    basis: Basis
    bounds: tuple[Bound, ...]
    because: tuple[Said, ...] = ()
    undecided: tuple[Said, ...] = ()
    exact: tuple[tuple[Said, Quantity], ...] = ()

    @property
    def bounded(self) -> bool:
        """Whether anything on file bounds the amount."""
        return any(bound.most is not None for bound in self.bounds)


def scales(product: Product, basis: Basis) -> tuple[Scale, ...]:
    """Return the scales of a product: weights, volumes, or volumes of finished mix."""
    if basis is Basis.MIX:
        return MIX_OUNCES, MIX_GALLONS
    return (GRAMS, OUNCES) if product.weighed else (FLUID_OUNCES, MILLILITRES)


def the_most(stage: Stage, rules: Sequence[Here], probe: Judged, attempt: Try) -> Most:
    """Return the most that may be used; ``probe`` is the planned line at some small amount."""
    case = stage.case(probe.use)
    assert case.product is not None
    basis = probe.use.amount.basis
    exact = tuple(_exact(stage, case, rules))
    bounds: list[Bound] = []
    for scale in scales(case.product, basis):
        hints = [_in(stage, most, scale.unit) for _, most in exact]
        found = climb(scale, attempt, [hint for hint in hints if hint is not None])
        if found is not None:
            bounds.append(found)
    above = [bound.above for bound in bounds if bound.above is not None]
    because: dict[str, Said] = {}
    for judged in above[:1]:
        for finding in judged.of(Kind.BREACH, Kind.UNKNOWN):
            if (finding.code, finding.name) not in bounds[0].at.doubts:
                because[finding.name] = said_of(finding)
    undecided = tuple(
        said_of(finding) for finding in probe.of(Kind.UNKNOWN) if _on_amounts(finding.code)
    )
    return Most(basis, tuple(bounds), tuple(because.values()), undecided, exact)


def _on_amounts(code: str) -> bool:
    return code.partition("-")[2] in {"RATE", "TOTAL", "STRENGTH"}


def _in(stage: Stage, quantity: Quantity, unit: str) -> Fraction | None:
    try:
        return stage.book.units.convert(quantity, unit).value
    except (KeyError, ValueError):
        return None


def _exact(stage: Stage, case: Case, rules: Sequence[Here]) -> Iterator[tuple[Said, Quantity]]:
    """Yield the exact maximum of every rate whose inputs are known, in the unit of the line."""
    for here in of_shape(rules, "rate"):
        found = rate_most(case, here.limit, tools_for(here, case, stage.book))
        if found is not None and here.limit.mandatory and here.limit.read.decides:
            bound = here.limit.most
            own = _in(stage, found, bound.unit) if bound is not None else None
            if own is not None and bound is not None and here.limit.basis is not Basis.INGREDIENT:
                found = Quantity(own, bound.unit)
            elif case.use.amount.basis is Basis.MIX:
                found = Quantity(_in(stage, found, "gal") or found.value, "gal")
            yield Said(here.limit.says, (source_text(here.limit.ref),)), found


def rate_most(case: Case, limit: Limit, tools: Tools) -> Quantity | None:
    """Return the amount that exactly meets the maximum of a rate, in the line's own unit and basis.

    What a rate counts grows in proportion with the amount (with that of the whole tank, where
    lines share one), so the line at hand tells how much of it one unit is. None where the rate has
    no maximum or an input is missing.
    """
    if limit.most is None or limit.per is None:
        return None
    counted = counted_dose(case, limit, tools)
    value = None if counted is None else in_unit(counted, limit.most.unit, case.product, tools)
    measure = extent(case, limit.per_what, limit.of)
    share = None if measure is None else tools.into(measure, limit.per.unit)
    if not value or not share:
        return None
    allowed = limit.most.value * share / limit.per.value
    if limit.also_per is not None:
        second = case.use.extent.get(limit.also_per_what)
        also = None if second is None else tools.into(second, limit.also_per.unit)
        if not also:
            return None
        allowed *= also / limit.also_per.value
    typed = case.use.amount.quantity
    return Quantity(typed.value * allowed / value, typed.unit)


# --- the mix -----------------------------------------------------------------------------------


def strength_text(rules: Sequence[Here]) -> tuple[str, Said] | None:
    """Return the strength that a plan without one takes, as a day sheet says it, and why.

    The label's least named strength, else its most; None where no rule names one.
    """
    for here in of_shape(rules, "strength"):
        limit, bound = here.limit, here.limit.least or here.limit.most
        if bound is None or here.prefix == "PRACTICE":
            continue
        which = "least" if limit.least is not None else "most"
        why = f"no strength was given: taken is the {which} that the label names; {limit.says}"
        said_so = Said(why, (source_text(limit.ref),), "say --dilution to plan another one")
        if limit.per is not None:
            return f"{_plainly(bound)} per {_plainly(limit.per)}", said_so
        share = bound.value / 10_000 if bound.unit == "ppm" else bound.value
        of = "ai" if limit.basis is Basis.INGREDIENT else "product"
        return f"{_number(share)} % {of}", said_so
    return None


def _number(value: Fraction) -> str:
    return plain(value).removeprefix("about ").replace(",", "")


def _plainly(quantity: Quantity) -> str:
    return f"{_number(quantity.value)} {quantity.unit}"


def dose_cells(
    stage: Stage, rules: Sequence[Here], product: Product
) -> tuple[dict[str, str], Said | None]:
    """Return basis and dilution of the planned line, and why a strength was taken.

    What the plan says stays. A product that is diluted is counted as finished mix where its
    strength is given or a rule names one, else as product.
    """
    dilution, basis = stage.cells.get("dilution", ""), stage.cells.get("basis", "")
    if not product.diluted or basis == Basis.PRODUCT:
        return {"basis": basis, "dilution": dilution}, None
    taken = None if dilution else strength_text(rules)
    dilution = taken[0] if taken else dilution
    counted = Basis.MIX if dilution else Basis.PRODUCT
    return {"basis": basis or str(counted), "dilution": dilution}, taken[1] if taken else None


@dataclass(frozen=True, slots=True)
class Mix:
    """How to mix: concentrate for a finished volume, rounded down to what can be measured.

    ``exact`` is the concentrate unrounded; ``parts`` its text on each scale.
    """

    finished: Quantity
    exact: Quantity
    parts: tuple[Quantity, ...]


def mix_for(case: Case, finished: Quantity, tools: Tools) -> Mix | None:
    """Return the concentrate for so much finished mix at the line's strength."""
    strong = strength(case, tools)
    volume = tools.into(finished, "mL")
    if strong is None or volume is None:
        return None
    exact = Quantity(volume * strong.value, strong.unit)
    on = (GRAMS, OUNCES) if strong.unit == "g" else (FLUID_OUNCES, MILLILITRES)
    parts = []
    for scale in on:
        value = tools.into(exact, scale.unit)
        if value is not None and scale.down(value):
            parts.append(Quantity(scale.down(value), scale.unit))
    return Mix(finished, exact, tuple(parts))


# --- placements, puffs -------------------------------------------------------------------------


def placements(stage: Stage, rules: Sequence[Here], probe: Judged) -> Iterator[Said]:
    """Yield how many placements, cans or spots are allowed, and how many are planned."""
    use = probe.use
    for here in of_shape(rules, "count"):
        limit, source = here.limit, (source_text(here.limit.ref),)
        planned = use.extent.get(limit.measure)
        if limit.most is None or limit.per is None:
            continue
        most = most_of_count(stage, use, here)
        per = per_words(limit.per, limit.per_what)
        text = f"{limit.measure}: at most {plain(limit.most.value)} per {per}"
        if most is not None:
            text = f"{text}, here {most}"
        if planned is not None:
            text = f"{text}; planned {plain(planned.value)}"
        yield Said(text, source)


def most_of_count(stage: Stage, use: Application, here: Here) -> int | None:
    """Return the largest number that the judgement lets pass; None where it cannot be told."""
    name, limit = here.limit.name, here.limit
    assert limit.most is not None

    def allowed(number: int) -> bool | None:
        judged = stage.judge(replace(use, extent=_with(use.extent, limit.measure, number)))
        mine = [found for found in judged.findings if found.name == name]
        if any(found.kind is Kind.UNKNOWN for found in mine):
            return None
        return not any(found.kind is Kind.BREACH for found in mine)

    if allowed(1) is None:
        return None
    if not allowed(1):
        return 0
    low, high = 1, 2
    while allowed(high) and high < 2**20:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if allowed(middle) else (low, middle)
    return low


def _with(extent_said: Extent, measure: str, number: int) -> Extent:
    others = tuple(pair for pair in extent_said.measures if pair[0] != measure)
    return Extent(extent_said.text, (*others, (measure, Quantity(Fraction(number), "each"))))


def expected(case: Case, tools: Tools) -> Iterator[Said]:
    """Yield what counted placements and puffs come to by the tool's weighed calibration."""
    tool, use = case.tool, case.use
    if tool is None:
        return
    mine = [item for item in tool.calibrations if item.product == use.product]
    for item in sorted(mine, key=lambda item: item.on, reverse=True)[:1]:
        gives = f"{tool.key} gives {said(item.gives)} a {item.per} (weighed {item.on})"
        counted = use.extent.get({"puff": "puffs", "second": "seconds", "can": "cans"}.get(
            item.per, "placements"))  # fmt: skip
        if counted is not None:
            total = Quantity(counted.value * item.gives.value, item.gives.unit)
            text = f"{plain(counted.value)} times: expect {said(total)}; {gives}, {ESTIMATE}"
            yield Said(text, ("useledger.toml",))
        elif item.per == "puff":
            yield from _light_coat(case, tools, item.gives, gives)


_CLOSEST, _WIDEST = Fraction(12), Fraction(18)


def _light_coat(case: Case, tools: Tools, gives: Quantity, words: str) -> Iterator[Said]:
    """Yield how many puffs a light coat along a gap is: one every 12 to 18 inches."""
    length = case.use.extent.get("length")
    inches = None if length is None else tools.into(length, "in")
    if not inches or case.use.method != "crack and crevice":
        return
    few, many = Fraction(inches // _WIDEST), Fraction(inches // _CLOSEST)
    low, high = (Quantity(count * gives.value, gives.unit) for count in (few, many))
    text = (
        f"a light coat is a puff every 12 to 18 in: {plain(few)} to {plain(many)} puffs,"
        f" {said(low)} to {said(high)}; {words}, {ESTIMATE}"
    )
    yield Said(text, ("common practice, no source",))


def load(case: Case) -> Iterator[Said]:
    """Yield how full a hand duster is filled."""
    tool = case.tool
    if tool is not None and tool.holds is not None and "duster" in tool.kind:
        half = Quantity(tool.holds.value / 2, tool.holds.unit)
        text = f"fill {tool.key} no more than half: {said(half)} of the {said(tool.holds)} it holds"
        yield Said(text, ("common practice, no source",))
