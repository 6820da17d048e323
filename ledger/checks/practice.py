"""Habits of the trade that need more than one line to see. All is advice: common practice, no
source."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.say import Tools, plain, said
from ledger.rulebook.book import Book
from ledger.values.amount import Quantity
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.product import Product, ProductClass

_NOTE = " (common practice, no source)"
_UMBRELLA_GROUPS = ("8", "13", "UN")
"""Groups whose members need not share a target: they may follow each other."""
_CLOSEST, _WIDEST = Fraction(12), Fraction(18)
_MONTHS_OF_CALIBRATION = 12


def _advice(code: str, name: str, text: str, column: str) -> Finding:
    return Finding(Kind.ADVICE, f"PRACTICE-{code}", name, text + _NOTE, column)


def half_full(case: Case, tools: Tools, _book: Book) -> Iterator[Finding]:
    """A hand duster is filled no more than half: seen where the load was weighed."""
    tool, weighing = case.tool, case.use.amount.weighing
    if tool is None or weighing is None or "duster" not in tool.kind:
        return
    if tool.empty is None or tool.holds is None:
        return
    before, empty, holds = (tools.into(q, "g") for q in (weighing[0], tool.empty, tool.holds))
    if before is None or empty is None or holds is None or 2 * (before - empty) <= holds:
        return
    load = said(Quantity(before - empty, "g"))
    text = f"{tool.key} was loaded with {load}, more than half of the {said(tool.holds)} it holds"
    yield _advice("DUSTER-FILL", "duster-fill", text, "amount")


def one_duster(case: Case, _tools: Tools, book: Book) -> Iterator[Finding]:
    """No duster serves two products unless it is cleaned; seen on lines of the same site."""
    use, tool = case.use, case.tool
    if tool is None or "duster" not in tool.kind:
        return
    for other in _first_by_product(case, use.equipment):
        product = book.product(other.product, other.date, other.lot)
        classes = {item.product_class for item in (product, case.product) if item}
        text = f"{tool.key} also held {other.product_name} on {other.date}; clean it in between"
        if ProductClass.RESTRICTED in classes and len(classes) > 1:
            text = f"{text}, and keep a duster for restricted powders alone"
        yield _advice("ONE-DUSTER", "one-duster", text, "equipment")


def _first_by_product(case: Case, equipment: str) -> tuple[Application, ...]:
    """Return the nearest line of each other product from that tool, up to the day of the work."""
    found: dict[str, Application] = {}
    for other in sorted(case.others, key=lambda o: o.date, reverse=True):
        same_tool = other.equipment == equipment and other.date <= case.use.date
        if same_tool and other.product_key != case.use.product_key:
            found.setdefault(other.product_key, other)
    return tuple(found[key] for key in sorted(found))


def puff_spacing(case: Case, tools: Tools, _book: Book) -> Iterator[Finding]:
    """A puff every 12 to 18 inches along a gap; seen where puffs and length are both given."""
    puffs = case.use.extent.get("puffs")
    length = None if puffs is None else case.use.extent.get("length")
    inches = None if length is None else tools.into(length, "in")
    if puffs is None or inches is None or puffs.value <= 0:
        return
    spacing = inches / puffs.value
    if not _CLOSEST <= spacing <= _WIDEST:
        text = f"a puff every {plain(spacing)} in; usual is every 12 to 18 in along a gap"
        yield _advice("PUFF-SPACING", "puff-spacing", text, "extent")


def _puff(case: Case, tools: Tools) -> Fraction | None:
    """Return the grams of one puff of the line's tool with its product, by the newest weighing."""
    tool, use = case.tool, case.use
    found = [
        item
        for item in (tool.calibrations if tool else ())
        if item.product == use.product and item.per == "puff" and item.on <= use.date
    ]
    return tools.into(max(found, key=lambda item: item.on).gives, "g") if found else None


def spacing_by_weight(case: Case, tools: Tools, _book: Book) -> Iterator[Finding]:
    """How far apart puffs stood, worked out from the amount, the gap and the tool's weighing."""
    use = case.use
    puff = _puff(case, tools) if use.extent.get("puffs") is None else None
    length = use.extent.get("length") if puff else None
    if not puff or length is None:
        return
    inches, grams = tools.into(length, "in"), tools.into(use.used.quantity, "g")
    if not grams or inches is None:
        return
    spacing = inches / (grams / puff)
    if not _CLOSEST <= spacing <= _WIDEST:
        by = "by the count of its puffs" if use.used.estimate else "by its weighing"
        text = (
            f"{by} {case.use.equipment} gave a puff every {plain(spacing)} in;"
            " usual is every 12 to 18 in along a gap"
        )
        yield _advice("PUFF-SPACING", "spacing-by-weight", text, "amount")


_AGREES = Fraction(1, 4)
"""By how much a count of puffs may differ from the weighing before it is worth a word."""


def estimate_beside(case: Case, tools: Tools, _book: Book) -> Iterator[Finding]:
    """Puffs counted beside a weighing are an estimate: said where the two differ by a quarter."""
    use = case.use
    puffs = use.extent.get("puffs")
    puff = None if puffs is None or use.used.estimate else _puff(case, tools)
    grams = tools.into(use.used.quantity, "g") if puff else None
    if puffs is None or not puff or not grams:
        return
    estimate = puffs.value * puff
    if abs(estimate - grams) > grams * _AGREES:
        text = (
            f"{plain(puffs.value)} puffs make an estimate of {plain(estimate)} g, and"
            f" {plain(grams)} g were weighed; the weighing counts"
        )
        yield _advice("ESTIMATE", "estimate-beside", text, "extent")


def groups_of(product: Product | None) -> frozenset[str]:
    """Return the groups of a product that ought not to follow themselves."""
    if product is None:
        return frozenset()
    groups = (part.group for part in product.ingredients if not part.synergist)
    return frozenset(group for group in groups if group and not _umbrella(group))


def rotation(case: Case, _tools: Tools, book: Book) -> Iterator[Finding]:
    """Modes of action alternate: the same groups as on the last day at this site are advised
    against, umbrella groups left out."""
    mine = groups_of(case.product)
    earlier = [other for other in case.others if other.date < case.use.date]
    if not mine or not earlier:
        return
    last = max(other.date for other in earlier)
    for other in sorted((o for o in earlier if o.date == last), key=lambda o: o.product_key):
        if groups_of(book.product(other.product, other.date, other.lot)) == mine:
            text = (
                f"mode of action {', '.join(sorted(mine))} again, as {other.product_name}"
                f" on {last}; alternate where another product serves"
            )
            yield _advice("ROTATION", "rotation", text, "product")
            return


def _umbrella(group: str) -> bool:
    number = group.rstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return number in _UMBRELLA_GROUPS or group.startswith("UN")


def is_old(weighed: date, day: date) -> bool:
    """Whether a tool that was weighed on a day ought to be weighed again: after twelve months."""
    months = (day.year - weighed.year) * 12 + day.month - weighed.month
    return (months, day.day) > (_MONTHS_OF_CALIBRATION, weighed.day)


def old_calibration(case: Case, _tools: Tools, _book: Book) -> Iterator[Finding]:
    """An estimate rests on a weighing of the tool that is not older than a year."""
    tool, use = case.tool, case.use
    if tool is None or not use.used.estimate:
        return
    mine = [item for item in tool.calibrations if item.product == use.product]
    days = [item.on for item in mine if item.on <= use.date]
    if not days:
        return
    last = max(days)
    if is_old(last, use.date):
        text = f"{tool.key} was last calibrated for this product on {last}; weigh it again"
        yield _advice("CALIBRATION", "old-calibration", text, "equipment")


Habit = Callable[[Case, Tools, Book], Iterator[Finding]]
HABITS: tuple[Habit, ...] = (
    half_full, one_duster, puff_spacing, spacing_by_weight, estimate_beside, rotation,
    old_calibration,
)  # fmt: skip
"""Every habit, in the order in which it is said."""
