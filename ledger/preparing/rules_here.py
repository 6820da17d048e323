"""The rules that stand over a planned line: where not, what first, what to wear, when to go in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from ledger.checks.answers import KEPT_OUT
from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.checks.say import Tools, unverified
from ledger.preparing.stage import Said, Stage, source_text
from ledger.rulebook.book import Book
from ledger.rulebook.model import Limit, RuleFile, Shape
from ledger.rulebook.when import holds
from ledger.values.entry import Application
from ledger.values.help_lines import EMERGENCY, POISON_HELP
from ledger.values.lexicon import fold
from ledger.values.product import Product
from ledger.values.rounding import exact_text

_PREFIXES = {"label": "LABEL", "jurisdiction": "LAW", "practice": "PRACTICE"}
_ABOUT = {
    Shape.KEEP_OFF, Shape.BUFFER, Shape.GEOMETRY, Shape.WEATHER, Shape.ENCLOSURE, Shape.ALLOWED,
}  # fmt: skip
NOTICE = "notice before the job"


@dataclass(frozen=True, slots=True)
class Here:
    """A limit that applies to the planned line, or may (``sure`` is false), and whose it is."""

    limit: Limit
    file: RuleFile
    sure: bool = True

    @property
    def prefix(self) -> str:
        """The prefix of its findings' codes."""
        return _PREFIXES[self.file.family]

    @property
    def said(self) -> Said:
        """The rule in its own words, with its source."""
        force = "" if self.limit.mandatory else " (advice)"
        text = f"{unverified(self.limit.read)}{self.limit.says}{force}"
        maybe = "" if self.sure else " (if it applies: the plan does not say enough)"
        return Said(f"{text}{maybe}", (source_text(self.limit.ref),))


def tools_for(here: Here, case: Case, book: Book) -> Tools:
    """Return what the checks are given for a limit of that file."""

    def product_of(use: Application) -> Product | None:
        return book.product(use.product, use.date, use.lot)

    return Tools(book.units, facts_of(case), here.prefix, product_of)


def files_for(use: Application, book: Book) -> tuple[RuleFile, ...]:
    """Return the label in hand, the laws of the place and the practices, in that order."""
    label = book.label_for(use.product, use.date, use.lot) if use.label else None
    found = (label, *book.laws_of(use.jurisdiction), *book.practices)
    return tuple(file for file in found if file is not None)


def rules_over(stage: Stage, use: Application) -> tuple[Here, ...]:
    """Return every limit in force on the day that applies to the line, or may."""
    case = stage.case(use)
    facts = facts_of(case)
    found: list[Here] = []
    for file in files_for(use, stage.book):
        for limit in file.limits:
            applies = limit.span.holds(use.date) and holds(limit.when, facts, stage.book.units)
            if applies is not False:
                found.append(Here(limit, file, applies is True))
    return tuple(found)


def of_shape(rules: Iterable[Here], *shapes: str) -> tuple[Here, ...]:
    """Return the limits of these shapes, in order."""
    return tuple(here for here in rules if here.limit.shape in shapes)


def prepared_for(rules: Sequence[Here], given: str) -> str:
    """Return what the line will say was prepared: what the plan says, and all that is asked for.

    ``none`` stays ``none``: whoever says so is told what it breaks.
    """
    if fold(given) in {"none", "nothing", "none needed", "nothing needed"}:
        return given
    items = [item.strip() for item in given.split(";") if item.strip()]
    for here in of_shape(rules, "prepare", "protection", "reentry"):
        if here.sure and here.limit.mandatory and here.limit.read.decides:
            items += items_of(here.limit)
    kept = {fold(item): item for item in items}
    return "; ".join(kept.values())


def items_of(limit: Limit) -> list[str]:
    """Return what is to be done as ``prepared`` says it, with who, when and how long."""
    length = f"{exact_text(limit.lasting.value)} {limit.lasting.unit}" if limit.lasting else ""
    if limit.shape == "reentry":
        return [*limit.words, *([f"{KEPT_OUT} ({length})"] if length else ())]
    behind = [limit.measure] if limit.shape == "protection" else [limit.who, limit.step, length]
    told = ", ".join(text for text in behind if text)
    return [f"{word} ({told})" if told else word for word in limit.words]


def restrictions(rules: Sequence[Here]) -> tuple[Said, ...]:
    """Return where, against what and in what weather not, as label and law say it.

    Habits are told where they meet the plan, as advice, and in the usual cautions.
    """
    binding = (here for here in rules if here.prefix != "PRACTICE")
    return tuple(here.said for here in binding if here.limit.shape in _ABOUT)


def preparation(rules: Sequence[Here]) -> tuple[Said, ...]:
    """Return what must be done, each with the words that the day sheet asks for."""
    return tuple(_with_words(here) for here in of_shape(rules, "prepare"))


def _with_words(here: Here) -> Said:
    words = "; ".join(items_of(here.limit))
    return replace(here.said, text=f"{here.said.text} (prepared: {words})")


def protection(rules: Sequence[Here], label: str) -> tuple[Said, ...]:
    """Return the protective equipment; where the file says nothing, the label in hand does."""
    found = tuple(_with_words(here) for here in of_shape(rules, "protection"))
    return found or (Said("not in the label file: read the label in hand", (label,)),)


def reentry(rules: Sequence[Here], label: str) -> tuple[Said, ...]:
    """Return when people and animals may come back."""
    found = tuple(_with_words(here) for here in of_shape(rules, "reentry"))
    return found or (Said("not in the label file: read the label in hand", (label,)),)


def notice_asked(rules: Sequence[Here]) -> tuple[Said, ...]:
    """Return the rules that ask for a paper to the customer before the job."""
    return tuple(here.said for here in of_shape(rules, "ask") if NOTICE in here.limit.words)


CAUTIONS = (
    Said("Label in hand: it is the law and governs whatever stands here.", ("common practice",)),
    Said(
        "Occupants, children, animals and aquariums out or covered, as the label says; food and"
        " dishes away.",
        ("common practice",),
    ),
    Said(
        f"Emergency first: {EMERGENCY}; Poison Help {POISON_HELP}.",
        ("Health Resources and Services Administration, poisonhelp.hrsa.gov",),
    ),
)
"""What is said before every job."""

_ELECTRIC = Said("Power off before dusting at outlets, switches and panels.", ("common practice",))
_AIR = Said(
    "Fans and air handlers off, registers covered: no dust into moving air.", ("common practice",)
)


def cautions(dust: bool, indoor: bool) -> Iterator[Said]:
    """Yield the usual cautions; dust work has two more, the air one indoors."""
    if dust:
        yield _ELECTRIC
    if dust and indoor:
        yield _AIR
    yield from CAUTIONS


def assumed(stage: Stage, use: Application) -> dict[str, str]:
    """Return the cells that a plan takes for granted because it tells the person to do them.

    What the rules ask to prepare is done, and the notice that they ask for is given. Whatever the
    person said of either stays.
    """
    rules = rules_over(stage, use)
    cells = {"prepared": prepared_for(rules, stage.cells.get("prepared", ""))}
    if notice_asked(rules) and not stage.cells.get("notice"):
        cells["notice"] = "before"
    return cells
