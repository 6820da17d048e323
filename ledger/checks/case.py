"""What a check is given: one application with everything it is judged by."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.values.entry import Application
from ledger.values.firm import Firm, Person, Tool
from ledger.values.lexicon import Words
from ledger.values.product import Product
from ledger.values.site import Site


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
