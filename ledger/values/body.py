"""An application as the journal keeps it: a body of plain values, and the private text beside it.

A body holds only strings, safe integers, None, lists and dicts of these, so that it has one
canonical form. Fractions are text ("3/4"), dates and times ISO text, truth is 0, 1 or None.
Identity and free text (customer, customer's address, note) go to the private part, which stands
in the chain as a salted digest and may be disposed of by law while the body stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from fractions import Fraction
from functools import lru_cache
from operator import attrgetter, itemgetter
from typing import Any

from ledger.values.amount import Amount, Basis, Dilution, Quantity, Strength, Used
from ledger.values.entry import Application, Avoided, Weather
from ledger.values.extent import Extent

PRIVATE = ("customer", "customer_address", "note")
"""The fields that go to the private part."""

_TEXTS = (
    "applicator", "licence", "supervisor", "supervisor_licence", "line",
    "site", "jurisdiction", "county", "site_kind", "site_code",
    "product", "product_key", "product_name", "label", "lot", "mix_group",
    "method", "setting", "avoided_said", "prepared_said", "equipment", "notice", "visit",
)  # fmt: skip
_LISTS = ("places", "prepared", "pests")


def application_body(app: Application) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the body of an application and its private part, both of plain values only."""
    body: dict[str, Any] = dict(zip(_TEXTS, _texts_in(app), strict=True))
    for name in _LISTS:
        body[name] = list(getattr(app, name))
    body.update(
        date=app.date.isoformat(),
        start=_clock(app.start),
        end=_clock(app.end),
        end_day=app.end_day,
        amount=_amount(app.amount),
        used=_used(app.used),
        dilution=_dilution(app.dilution),
        avoided=[_avoided(item) for item in app.avoided],
        extent=_extent(app.extent),
        weather=_weather(app.weather),
    )
    return body, {name: getattr(app, name) for name in PRIVATE}


def application_from(body: Mapping[str, Any], private: Mapping[str, Any] | None) -> Application:
    """Return the application that was kept; without a private part its texts are empty.

    Keys that the journal or the flow added to the body are ignored.
    """
    fields = dict(zip(_TEXTS, _texts_of(body), strict=True))
    for name in _LISTS:
        fields[name] = tuple(body[name])
    for name in PRIVATE:
        fields[name] = private.get(name, "") if private else ""
    return Application(
        **fields,
        date=_day(body["date"]),
        start=_time(body["start"]),
        end=_time(body["end"]),
        end_day=body["end_day"],
        amount=_amount_from(body["amount"]),
        used=_used_from(body["used"]),
        dilution=_dilution_from(body["dilution"]),
        avoided=tuple([_avoided_from(item) for item in body["avoided"]]),
        extent=_extent_from(body["extent"]),
        weather=_weather_from(body["weather"]),
    )


_texts_in, _texts_of = attrgetter(*_TEXTS), itemgetter(*_TEXTS)
_day = lru_cache(maxsize=4096)(date.fromisoformat)


def _clock(value: time | None) -> str | None:
    return None if value is None else value.isoformat("minutes")


@lru_cache(maxsize=2048)
def _time(text: str | None) -> time | None:
    return None if text is None else time.fromisoformat(text)


def _quantity(value: Quantity | None) -> dict[str, Any] | None:
    return None if value is None else {"value": str(value.value), "unit": value.unit}


def _quantity_from(body: Mapping[str, Any] | None) -> Quantity | None:
    return None if body is None else _known_quantity(body)


def _known_quantity(body: Mapping[str, Any]) -> Quantity:
    return _measure(body["value"], body["unit"])


@lru_cache(maxsize=8192)
def _measure(value: str, unit: str) -> Quantity:
    """Return a quantity from its exact text; a ledger writes the same ones again and again."""
    return Quantity(Fraction(value), unit)


def _amount(amount: Amount) -> dict[str, Any]:
    weighing = amount.weighing
    return {
        "text": amount.text,
        "quantity": _quantity(amount.quantity),
        "basis": str(amount.basis),
        "weighing": None if weighing is None else [_quantity(item) for item in weighing],
    }


_BASES = {str(basis): basis for basis in Basis}


def _amount_from(body: Mapping[str, Any]) -> Amount:
    weighing = body["weighing"]
    pair = None
    if weighing is not None:
        before, after = weighing
        pair = (_known_quantity(before), _known_quantity(after))
    return Amount(body["text"], _known_quantity(body["quantity"]), _BASES[body["basis"]], pair)


def _used(used: Used) -> dict[str, Any]:
    return {
        "numerator": used.numerator,
        "denominator": used.denominator,
        "unit": used.unit,
        "derived": int(used.derived),
        "estimate": int(used.estimate),
    }


def _used_from(body: Mapping[str, Any]) -> Used:
    return Used(
        body["numerator"], body["denominator"], body["unit"],
        bool(body["derived"]), bool(body["estimate"]),
    )  # fmt: skip


def _dilution(dilution: Dilution | None) -> dict[str, Any] | None:
    if dilution is None:
        return None
    return {
        "text": dilution.text,
        "strength": str(dilution.strength),
        "value": None if dilution.value is None else str(dilution.value),
        "product": _quantity(dilution.product),
        "mix": _quantity(dilution.mix),
    }


def _dilution_from(body: Mapping[str, Any] | None) -> Dilution | None:
    if body is None:
        return None
    value = body["value"]
    return Dilution(
        body["text"],
        Strength(body["strength"]),
        None if value is None else Fraction(value),
        _quantity_from(body["product"]),
        _quantity_from(body["mix"]),
    )


def _avoided(item: Avoided) -> dict[str, Any]:
    return {"place": item.place, "reason": item.reason, "distance": _quantity(item.distance)}


def _avoided_from(body: Mapping[str, Any]) -> Avoided:
    return Avoided(body["place"], body["reason"], _quantity_from(body["distance"]))


def _extent(extent: Extent) -> dict[str, Any]:
    measures = [[name, _quantity(quantity)] for name, quantity in extent.measures]
    return {"text": extent.text, "measures": measures}


def _extent_from(body: Mapping[str, Any]) -> Extent:
    measures = tuple((name, _known_quantity(quantity)) for name, quantity in body["measures"])
    return Extent(body["text"], measures)


def _weather(weather: Weather) -> dict[str, Any]:
    return {
        "temperature": _quantity(weather.temperature),
        "wind": _quantity(weather.wind),
        "wind_from": weather.wind_from,
        "rain": None if weather.rain is None else int(weather.rain),
    }


def _weather_from(body: Mapping[str, Any]) -> Weather:
    rain = body["rain"]
    return Weather(
        _quantity_from(body["temperature"]),
        _quantity_from(body["wind"]),
        body["wind_from"],
        None if rain is None else bool(rain),
    )
