"""A site: a place with a key, where work is done."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Address:
    """A postal address in the normal form of USPS Publication 28.

    ``street`` and ``unit`` are upper case with standard abbreviations ("118 TOLLHOUSE LN",
    "APT 4"), ``state`` two letters, ``zip`` five digits (or empty where unknown).
    """

    street: str
    unit: str
    city: str
    state: str
    zip: str


@dataclass(frozen=True, slots=True)
class Site:
    """A place with a key.

    ``key`` is opaque (S0001) so that an address can be disposed of while records stay;
    ``doubt`` names the key of a site that this one may be, until somebody answers; ``same_as``
    the site it turned out to be; ``asked_by`` the sites seen later that may be this one.
    """

    key: str
    address: Address
    county: str
    jurisdiction: str
    kind: str
    time_zone: str
    typed: str = ""
    doubt: str | None = None
    same_as: str | None = None
    asked_by: tuple[str, ...] = ()

    @property
    def questions(self) -> tuple[str, ...]:
        """The keys of all sites that may be this one: nobody has answered yet."""
        return (*((self.doubt,) if self.doubt else ()), *self.asked_by)
