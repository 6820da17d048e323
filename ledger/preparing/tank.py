"""Several products in one tank: one plan, of which every line is judged with all the others.

The lines carry one mark under ``mix`` and one amount of finished mix, as they will be recorded.
So the strictest limit of every label binds the whole tank and an active ingredient that products
share is added up: not here, but by the judgement of each line.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ledger.checks.dose import ingredient_used, share_in_mix
from ledger.checks.say import Tools, exactly, plain, said
from ledger.preparing.amounts import Most, dose_cells, mix_for, the_most
from ledger.preparing.ladder import Try
from ledger.preparing.plan import (
    ALLOWED,
    CANNOT_TELL,
    REFUSED,
    Plan,
    asked_about,
    largest,
    most_in_words,
    plan_of,
    remarks_on,
)
from ledger.preparing.rules_here import assumed, prepared_for
from ledger.preparing.stage import SMALLEST_MIX, WISH, Judged, Said, Stage
from ledger.preparing.wish import Wish, wish_of
from ledger.values.amount import Basis, Quantity
from ledger.values.entry import Application
from ledger.values.finding import Fault
from ledger.values.lexicon import fold
from ledger.values.origin import Origin

MARK = "tank"
"""What stands under ``mix`` of every line, unless the wish names the tank."""

Sections = tuple[tuple[str, tuple[Said, ...]], ...]


@dataclass(frozen=True, slots=True)
class Tank:
    """What may be done with one tank: the verdict on all its lines, and the plan of each.

    ``most`` is of finished mix and holds for all lines at once; the ``most`` of a line's own plan
    is where its product would stop. ``sections`` are as those of a plan: what every product's
    plan says alike stands once, the rest behind the product's name.
    """

    verdict: str
    plans: tuple[Plan, ...]
    most: Most
    finished: Quantity
    refused: tuple[Said, ...]
    open: tuple[Said, ...]
    sections: Sections

    @property
    def mark(self) -> str:
        """What stands under ``mix`` of every line."""
        return self.plans[0].use.mix_group


@dataclass
class _Line:
    """One product of the tank: its wish, the cells of its line, and why a strength was taken."""

    wish: Wish
    cells: dict[str, str]
    taken: Said | None

    @property
    def stage(self) -> Stage:
        """What its plan is made on."""
        return self.wish.stage


def make_tank(stages: Sequence[Stage]) -> Tank | tuple[Fault, ...]:
    """Return the plan of a tank, or the faults for which its wishes cannot be read.

    ``stages`` are those of one visit, one for each product: they differ in product, lot and
    dilution. An amount is one of finished mix and is the same for all of them.
    """
    lines = _lines(stages)
    if not isinstance(lines, list):
        return lines
    wished = stages[0].cells.get("amount", "")
    for line in lines:
        for amount in (SMALLEST_MIX, wished or SMALLEST_MIX):
            trial = line.stage.read(amount=amount, **line.cells)
            if trial.application is None:
                return trial.faults
    seen: dict[str, tuple[Judged, ...]] = {}

    def judged(amount: str) -> tuple[Judged, ...]:
        if amount not in seen:
            seen[amount] = _judged(lines, amount)
        return seen[amount]

    def whole(amount: str) -> Judged | None:
        each = judged(amount)
        found = tuple(found for one in each for found in one.findings)
        return Judged(each[0].use, found) if each else None

    def own(at: int) -> Try:
        return lambda amount: judged(amount)[at] if judged(amount) else None

    probes, probe = judged(SMALLEST_MIX), whole(SMALLEST_MIX)
    assert probe is not None  # read above, or smaller than what was
    _set_mates(lines, probes)
    each_most = [
        the_most(line.stage, line.wish.rules, probes[at], own(at)) for at, line in enumerate(lines)
    ]
    most = the_most(stages[0], (), probe, whole)
    chosen = wished or largest(most) or SMALLEST_MIX
    planned = judged(chosen)
    _set_mates(lines, planned)
    plans = tuple(
        _plan(line, one, its, chosen if wished else "")
        for line, one, its in zip(lines, planned, each_most, strict=True)
    )
    return _tank(lines, plans, most)


def _plan(line: _Line, judged: Judged, most: Most, wished: str) -> Plan:
    read = line.stage.read(amount=wished or judged.use.amount.text, **line.cells)
    return plan_of(line.wish, judged, most, (line.taken, remarks_on(read, amount=bool(wished))))


def _judged(lines: Sequence[_Line], amount: str) -> tuple[Judged, ...]:
    """Return every line at that amount of finished mix, judged with the others beside it.

    Nothing where the amount is more than a record can hold.
    """
    uses = []
    for line in lines:
        read = line.stage.read(amount=amount, **line.cells)
        if read.application is None:
            return ()
        uses.append(read.application)
    found = []
    for line, use in zip(lines, uses, strict=True):
        line.stage.mates = ()
        found.append(line.stage.judge(use, *(other for other in uses if other is not use)))
    return tuple(found)


def _set_mates(lines: Sequence[_Line], judged: Sequence[Judged]) -> None:
    """Set beside every line's stage the other lines of the tank."""
    for line, one in zip(lines, judged, strict=True):
        line.stage.mates = tuple(other.use for other in judged if other is not one)


# --- the lines -----------------------------------------------------------------------------------


def _lines(stages: Sequence[Stage]) -> list[_Line] | tuple[Fault, ...]:
    """Return the lines of the tank, or everything for which they cannot be read."""
    faults: dict[Fault, None] = {}
    wishes: list[Wish] = []
    for stage in stages:
        wish = wish_of(stage)
        if isinstance(wish, Wish):
            wishes.append(wish)
        else:
            faults |= dict.fromkeys(wish)
    lines = [_line(wish) for wish in wishes]
    faults |= dict.fromkeys(fault for line in lines for fault in _no_tank(line))
    keys = [wish.product.key for wish in wishes]
    for wish in wishes:
        if keys.count(wish.product.key) > 1:
            what = f"{wish.product.name} stands twice in one tank"
            faults[_fault("product", what, "name each product once")] = None
    if faults:
        return tuple(faults)
    return [_shared(line, lines) for line in lines]


def _line(wish: Wish) -> _Line:
    stage = wish.stage
    doses, taken = dose_cells(stage, wish.rules, wish.product)
    mark = stage.cells.get("mix") or MARK
    cells = assumed(stage, wish.first) | doses | {"basis": str(Basis.MIX), "mix": mark}
    return _Line(wish, cells, taken)


def _no_tank(line: _Line) -> Iterator[Fault]:
    """Yield why a product cannot be planned as part of a tank."""
    product = line.wish.product
    if fold(line.stage.cells.get("basis", "")) == Basis.PRODUCT:
        what = "the amount of a tank is that of its finished mix"
        yield _fault("basis", what, "leave --basis out, and say --amount in gallons of mix")
    elif not product.diluted:
        what = f"{product.name} is used as it comes: it is no part of a tank of mix"
        yield _fault("product", what, "prepare it by itself")
    elif not line.cells["dilution"]:
        what = f"no strength was said of {product.name}, and its label file names none"
        yield _fault("dilution", what, f'say it, as "{product.id} at 1 fl oz/gal"')


def _fault(column: str, what: str, way_out: str) -> Fault:
    return Fault("PLAN-TANK", Origin(WISH, None, column), what, way_out)


def _shared(line: _Line, lines: Sequence[_Line]) -> _Line:
    """Return a line with what any label of the tank asks for: each binds the whole of it."""
    given = line.stage.cells.get("prepared", "")
    for other in lines:
        given = prepared_for(other.wish.rules, given)
    notice = next((text for one in lines if (text := one.cells.get("notice", ""))), "")
    cells = {**line.cells, "prepared": given} | ({"notice": notice} if notice else {})
    return replace(line, cells=cells)


# --- all of it together --------------------------------------------------------------------------


def _tank(lines: Sequence[_Line], plans: tuple[Plan, ...], most: Most) -> Tank:
    refused = _merged(plans, [plan.refused for plan in plans])
    open_ = _merged(plans, [plan.open for plan in plans])
    verdict = REFUSED if refused else CANNOT_TELL if open_ else ALLOWED
    if verdict == REFUSED and not most.bounds:
        most = Most(Basis.MIX, (), refused)
    stage, use = lines[0].stage, plans[0].use
    known = bool(most.bounds) or bool(stage.cells.get("amount"))
    own = {
        "How much": (*most_in_words(most, "the labels in hand"), *asked_about(stage, use)),
        "Mix": (*(_mix(lines, plans) if known else ()), *_taken(lines)),
    }
    sections: list[tuple[str, tuple[Said, ...]]] = []
    for at, (name, _) in enumerate(plans[0].sections):
        each = [plan.sections[at][1] for plan in plans]
        if name == "How much":
            each = [_but_asked(items) for items in each]
        items = () if name == "Mix" else _merged(plans, each)
        sections.append((name, tuple(dict.fromkeys((*own.get(name, ()), *items)))))
        if name == "Mix":
            together = tuple(_together(lines, plans)) if known else ()
            sections.append(("Together", together))
        elif name == "Record":
            sections[-1] = (name, (_as_lines(plans), *sections[-1][1]))
    return Tank(verdict, plans, most, use.amount.quantity, refused, open_, tuple(sections))


def _merged(plans: Sequence[Plan], each: Sequence[Sequence[Said]]) -> tuple[Said, ...]:
    """Return the statements of all plans: once what all say alike, else behind the product."""
    found: dict[Said, None] = {}
    for plan, items in zip(plans, each, strict=True):
        for item in items:
            alike = all(item in others for others in each)
            named = item if alike else replace(item, text=f"{plan.product.name}: {item.text}")
            found[named] = None
    return tuple(found)


def _but_asked(items: Sequence[Said]) -> tuple[Said, ...]:
    """Return what bounds one product in this tank, without the amount that was asked about."""
    return tuple(item for item in items if not item.text.startswith("asked about: "))


def _mix(lines: Sequence[_Line], plans: Sequence[Plan]) -> Iterator[Said]:
    """Yield how much of each concentrate goes into the tank, and to what it is filled up."""
    source = ("worked out from the strengths",)
    for line, plan in zip(lines, plans, strict=True):
        tools = Tools(line.stage.book.units, {}, "LABEL")
        mix = mix_for(line.stage.case(plan.use), plan.use.amount.quantity, tools)
        name = f"{plan.product.name} ({line.cells['dilution']})"
        if mix is None:
            settle = "give the label file its specific_gravity or ai_per_gallon"
            text = f"{name}: cannot tell how much concentrate: the label file says no density"
            yield Said(text, (plan.product.file,), settle)
            continue
        parts = " or ".join(said(part) for part in mix.parts)
        exact = exactly(mix.exact)
        text = f"{parts} ({exact})" if parts else f"{exact}, too little to measure"
        yield Said(f"{name}: {text}", source)
    whole = said(plans[0].use.amount.quantity)
    yield Said(f"all of it in one tank, filled up with water to {whole} of finished mix", source)


def _taken(lines: Sequence[_Line]) -> Iterator[Said]:
    for line in lines:
        if line.taken is not None:
            settle = f'say it, as "{line.wish.product.id} at 1 fl oz/gal", to plan another one'
            text = f"{line.wish.product.name}: {line.taken.text}"
            yield replace(line.taken, text=text, settle=settle)


def _together(lines: Sequence[_Line], plans: Sequence[Plan]) -> Iterator[Said]:
    """Yield of every active ingredient that products share what the tank holds of it."""
    holders: dict[str, list[int]] = {}
    for at, plan in enumerate(plans):
        for part in plan.product.ingredients:
            if not part.synergist:
                holders.setdefault(fold(part.name), []).append(at)
    for name, where in holders.items():
        if len(where) < 2:
            continue
        names, shares, grams = frozenset({name}), [], []
        for at in where:
            case = lines[at].stage.case(plans[at].use)
            tools = Tools(lines[at].stage.book.units, {}, "LABEL")
            shares.append(share_in_mix(case, Basis.INGREDIENT, tools, names))
            used = ingredient_used(case, tools, names)
            grams.append(used.value if used is not None else None)
        from_ = " and ".join(plans[at].product.name for at in where)
        known = [share for share in shares if share is not None]
        weights = [gram for gram in grams if gram is not None]
        if len(known) == len(weights) == len(where):
            share, weight = (plain(sum(each, Fraction(0))) for each in (known, weights))
            text = f"{share} % of the mix, {weight} g in all"
        else:
            text = "cannot tell how much: a label file says no density"
        yield Said(f"{name} from {from_}: {text}", ("added up over the tank",))


def _as_lines(plans: Sequence[Plan]) -> Said:
    use: Application = plans[0].use
    text = (
        f'afterwards one line for each product, each with the finished mix as amount, "mix" as'
        f' basis and "{use.mix_group}" under mix'
    )
    return Said(text, ("the day sheet",))
