"""Lines from one tank: which they are, and what of an ingredient they hold together.

Lines of one visit that carry the same mark under ``mix`` were sprayed from one tank. Their
mix is the same mix, so it is not added; what each product brings of an active ingredient is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.periods import visit_of
from ledger.checks.same import actives
from ledger.checks.say import Tools, finding, over, plain
from ledger.rulebook.model import Limit, Shape
from ledger.values.amount import Basis, Strength
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold

OF_THE_WHOLE_TANK = frozenset({
    Shape.GEOMETRY, Shape.ENCLOSURE, Shape.WEATHER, Shape.STATE, Shape.BUFFER, Shape.KEEP_OFF,
    Shape.PREPARE, Shape.REENTRY, Shape.PROTECTION, Shape.ALLOWED, Shape.SUPERVISION, Shape.DATES,
    Shape.FOOD_AREAS, Shape.SHARE,
})  # fmt: skip
"""Shapes that hold for whatever is mixed with a product: each label binds the whole tank."""


def tank_mates(case: Case) -> tuple[Application, ...]:
    """Return the other lines that came from the same tank."""
    use = case.use
    if not use.mix_group:
        return ()
    mark = fold(use.mix_group)
    return tuple(
        other
        for other in case.others
        if fold(other.mix_group) == mark
        and visit_of(other) == visit_of(use)
        and other.product_key != use.product_key
    )


def possible_mates(case: Case, tools: Tools) -> tuple[Application, ...]:
    """Return the lines of the visit that may have shared the tank: mixed too, with an active
    ingredient in common as far as is known, and one of the two without a mark."""
    use = case.use
    mine = actives(case.product)

    def may_share(other: Application) -> bool:
        product = tools.product_of(other)
        return product is None or bool(mine & actives(product))

    return tuple(
        other
        for other in case.others
        if visit_of(other) == visit_of(use)
        and other.product_key != use.product_key
        and not (use.mix_group and other.mix_group)
        and mixed(case)
        and _may_be_mixed(case_of(case, other, tools))
        and may_share(other)
    )


def _may_be_mixed(case: Case) -> bool:
    """Whether a line was mixed, or does not say it of a product that is."""
    if case.use.dilution is not None:
        return mixed(case)
    return case.product is None or case.product.diluted


def case_of(case: Case, other: Application, tools: Tools) -> Case:
    """Return the case of another line of the same site."""
    return replace(case, use=other, product=tools.product_of(other), others=())


def binds_the_tank(limit: Limit) -> bool:
    """Whether a limit of one label holds for every product mixed with it."""
    mix_rate = limit.shape is Shape.RATE and limit.basis is Basis.MIX
    return limit.shape in OF_THE_WHOLE_TANK or mix_rate


def check_combination(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge what was mixed in one tank: how many products, and which ingredients never meet.

    A line that was mixed with water and does not say under ``mix`` what it shared its tank with
    cannot be told; any mark of its own (``alone``) answers.
    """
    if _may_be_mixed(case) and not case.use.mix_group:
        text = "cannot tell whether anything else was in the tank: mix is blank"
        way_out = 'amend mix, with one mark on every line of the tank, or "alone"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "mix", way_out)
        return
    mates = tank_mates(case)
    count = Fraction(1 + len({mate.product_key for mate in mates}))
    if limit.most is not None and over(count, limit.most.value, limit.inclusive):
        allows = f"{tools.authority} allows {plain(limit.most.value)}"
        text = f"{plain(count)} products in one tank, {allows}"
        yield finding(limit, tools, Kind.BREACH, text, "mix")
    if limit.words:
        yield from _never_with(mates, limit, tools)


def mixed(case: Case) -> bool:
    """Whether a line was mixed with water before use, by its dilution."""
    dilution = case.use.dilution
    return dilution is not None and dilution.strength is not Strength.NONE


def _never_with(mates: tuple[Application, ...], limit: Limit, tools: Tools) -> Iterator[Finding]:
    never = {fold(word) for word in limit.words}
    for mate in mates:
        product = tools.product_of(mate)
        met = sorted(never & actives(product))
        if product is None:
            text = f"cannot tell what {mate.product_name} in the same tank holds"
            yield finding(limit, tools, Kind.UNKNOWN, text, "mix", "mend its label file")
        elif met:
            text = f"mixed with {mate.product_name} ({', '.join(met)}); {limit.says}"
            yield finding(limit, tools, Kind.BREACH, text, "mix")
