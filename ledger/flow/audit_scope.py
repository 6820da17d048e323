"""What an audit is about: a range of days, a person, a product, a site, or everything."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True, slots=True)
class Scope:
    """The limits of an audit; None leaves one open. The days are days of work, both included."""

    first: date | None = None
    last: date | None = None
    applicator: str | None = None
    site: str | None = None
    product_key: str | None = None

    @property
    def of_the_firm(self) -> bool:
        """Whether it asks about all people, products and sites, so that reports belong to it."""
        return self.applicator is None and self.site is None and self.product_key is None

    def holds(self, day: date) -> bool:
        """Say whether a day lies in it."""
        return self.overlaps(day, day)

    def overlaps(self, first: date, last: date) -> bool:
        """Say whether a stretch of days touches it."""
        return (self.first is None or self.first <= last) and (
            self.last is None or first <= self.last
        )

    def filters(self) -> Mapping[str, Any]:
        """Return the journal's filters for it."""
        return {
            "date_from": self.first, "date_to": self.last, "applicator": self.applicator,
            "site": self.site, "product_key": self.product_key,
        }  # fmt: skip

    def body(self) -> dict[str, str | None]:
        """Return the scope as it is sealed; two audits of one scope have the same."""
        return {
            "from": self.first.isoformat() if self.first else None,
            "to": self.last.isoformat() if self.last else None,
            "person": self.applicator, "site_asked": self.site, "product": self.product_key,
        }  # fmt: skip

    @property
    def text(self) -> str:
        """The scope in words."""
        said = [f"{name.replace('_asked', '')} {value}" for name, value in self.body().items()]
        kept = [text for text in said if not text.endswith(" None")]
        return ", ".join(kept) or "everything"
