"""A normalised line of a day sheet: one product put down by one method on one visit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time

from ledger.values.amount import Amount, Dilution, Quantity, Used
from ledger.values.extent import Extent


@dataclass(frozen=True, slots=True)
class Avoided:
    """A place deliberately left alone, with the reason and, if given, how far away it was."""

    place: str
    reason: str = ""
    distance: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Weather:
    """What the line says of the weather; None where it says nothing."""

    temperature: Quantity | None = None
    wind: Quantity | None = None
    wind_from: str = ""
    rain: bool | None = None


@dataclass(frozen=True, slots=True)
class Application:
    """One application as the ledger understands it.

    Dates and times are local at the site; ``end_day`` counts days after ``date`` (night work).
    ``product`` is the id of a label file, ``product_key`` its registration number (or the id
    where the law gives none), ``label`` the digest of the label version used. ``avoided_said``
    is ``given``, ``none present`` or ``blank``; ``prepared_said`` is ``given``, ``none`` or
    ``blank``. ``used`` is None where the label could not be read and the amount needs it.
    Words are in the canonical spelling of the closed lists, or as typed where unknown.
    """

    date: date
    start: time | None
    end: time | None
    end_day: int
    applicator: str
    customer: str
    site: str
    jurisdiction: str
    county: str
    site_kind: str
    site_code: str
    product: str
    product_key: str
    product_name: str
    label: str
    amount: Amount
    used: Used
    method: str
    setting: str
    line: str = ""
    licence: str = ""
    supervisor: str = ""
    supervisor_licence: str = ""
    customer_address: str = ""
    lot: str = ""
    dilution: Dilution | None = None
    mix_group: str = ""
    places: tuple[str, ...] = ()
    avoided: tuple[Avoided, ...] = ()
    avoided_said: str = "blank"
    prepared: tuple[str, ...] = ()
    prepared_said: str = "blank"
    pests: tuple[str, ...] = ()
    extent: Extent = Extent("")
    equipment: str = ""
    weather: Weather = Weather()
    notice: str = ""
    note: str = ""
    visit: str = ""
