"""What a check is given: one application with everything it is judged by."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

from ledger.values.dated import Span
from ledger.values.entry import Application
from ledger.values.firm import Firm, Person, Tool
from ledger.values.lexicon import Words
from ledger.values.product import Product
from ledger.values.site import Site

T = TypeVar("T", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Case:
    """One application, its product (None where the label could not be read), its people, tool and
    site, and all other current applications at that site, earlier and later, in any order."""

    use: Application
    product: Product | None
    site: Site
    firm: Firm
    words: Words
    others: tuple[Application, ...] = ()

    @property
    def applicator(self) -> Person | None:
        """The person who applied."""
        return self.firm.person(self.use.applicator)

    @property
    def supervisor(self) -> Person | None:
        """The person named as supervisor, or None."""
        return self.firm.person(self.use.supervisor) if self.use.supervisor else None

    @property
    def tool(self) -> Tool | None:
        """The tool named on the line, or None."""
        return self.firm.tool(self.use.equipment) if self.use.equipment else None

    def ask(self, question: Callable[[Case], T]) -> T:
        """Return the answer to a question that many cases answer alike.

        A check that asks, say, whether a field is given, instead of reading the field, is
        remembered under "given" and not under each value (``ledger.checks.remember``).
        """
        return question(self)

    def in_force(self, span: Span) -> bool:
        """Say whether the day of the work lies within a span."""
        return (span.start is None and span.end is None) or self.ask(_within(span))


@cache
def _within(span: Span) -> Callable[[Case], bool]:
    """Return the question whether the day of the work lies within a span; always the same one."""
    return lambda case: span.holds(case.use.date)
