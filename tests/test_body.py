"""An application survives being written to the journal and read back."""

from __future__ import annotations

import json
from dataclasses import fields
from datetime import date, time
from fractions import Fraction
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from ledger.values.amount import Amount, Basis, Dilution, Quantity, Strength, Used
from ledger.values.body import PRIVATE, application_body, application_from
from ledger.values.entry import Application, Avoided, Weather
from ledger.values.extent import MEASURES, Extent

SAFE = 2**53 - 1  # RFC 8785 numbers are IEEE 754 doubles; beyond this an integer may change

texts = st.text(max_size=12)
fractions = st.fractions(max_denominator=10**9)
quantities = st.builds(Quantity, fractions, st.sampled_from(("oz", "fl oz", "ft", "each")))
clocks = st.none() | st.times().map(lambda t: time(t.hour, t.minute))
amounts = st.builds(
    Amount, texts, quantities, st.sampled_from(Basis),
    st.none() | st.tuples(quantities, quantities),
)  # fmt: skip
dilutions = st.builds(
    Dilution, texts, st.sampled_from(Strength), st.none() | fractions,
    st.none() | quantities, st.none() | quantities,
)  # fmt: skip
useds = st.builds(
    Used, st.integers(0, SAFE), st.integers(1, SAFE), texts, st.booleans(), st.booleans()
)
weathers = st.builds(
    Weather, st.none() | quantities, st.none() | quantities, texts, st.none() | st.booleans()
)
lists = st.lists(texts, max_size=3).map(tuple)


@st.composite
def applications(draw: st.DrawFn) -> Application:
    """Any application, with every field drawn."""
    own: dict[str, st.SearchStrategy[Any]] = {
        "date": st.dates(),
        "start": clocks,
        "end": clocks,
        "end_day": st.integers(0, 3),
        "amount": amounts,
        "used": useds,
        "dilution": st.none() | dilutions,
        "places": lists,
        "prepared": lists,
        "pests": lists,
        "avoided": st.lists(
            st.builds(Avoided, texts, texts, st.none() | quantities), max_size=2
        ).map(tuple),
        "extent": st.builds(
            Extent, texts,
            st.lists(st.tuples(st.sampled_from(MEASURES), quantities), max_size=3).map(tuple),
        ),
        "weather": weathers,
    }  # fmt: skip
    names = [item.name for item in fields(Application)]
    return Application(**{name: draw(own.get(name, texts)) for name in names})


def plain(value: object) -> bool:
    """Say whether a value holds only what canonical bytes can."""
    if isinstance(value, dict):
        return all(isinstance(key, str) and plain(item) for key, item in value.items())
    if isinstance(value, list):
        return all(plain(item) for item in value)
    if isinstance(value, int):
        return not isinstance(value, bool) and abs(value) <= SAFE
    return value is None or isinstance(value, str)


@given(applications())
def test_a_body_read_back_is_the_same_application(app: Application) -> None:
    body, private = application_body(app)
    assert application_from(json.loads(json.dumps(body)), json.loads(json.dumps(private))) == app


@given(applications())
def test_a_body_holds_plain_values_and_no_private_text(app: Application) -> None:
    body, private = application_body(app)
    assert plain(body)
    assert plain(private)
    assert set(private) == set(PRIVATE)
    assert not set(body) & set(PRIVATE)
    assert set(body) | set(private) == {item.name for item in fields(Application)}


@given(applications())
def test_without_the_private_part_the_facts_stay(app: Application) -> None:
    body, _ = application_body(app)
    left = application_from({**body, "identity": "x", "copy": 1}, None)
    assert (left.customer, left.customer_address, left.note) == ("", "", "")
    assert application_body(left)[0] == body


def test_the_keys_that_the_journal_indexes() -> None:
    app = Application(
        date=date(2026, 1, 14), start=time(8, 5), end=None, end_day=0, applicator="renner",
        customer="M. Okafor", site="S0001", jurisdiction="us-ca", county="Placer",
        site_kind="dwelling", site_code="10", product="ridgeline-dust", product_key="99999-11",
        product_name="Ridgeline Crevice Dust", label="0" * 64,
        amount=Amount("3/4 oz", Quantity(Fraction(3, 4), "oz"), Basis.PRODUCT),
        used=Used(3, 4, "oz"), method="void", setting="indoor", visit="f" * 16,
    )  # fmt: skip
    body, private = application_body(app)
    assert body["date"] == "2026-01-14"
    assert (body["start"], body["end"]) == ("08:05", None)
    assert body["used"] == {
        "numerator": 3, "denominator": 4, "unit": "oz", "derived": 0, "estimate": 0
    }  # fmt: skip
    assert body["amount"]["quantity"] == {"value": "3/4", "unit": "oz"}
    for key in (
        "jurisdiction", "county", "product_key", "label", "site_code", "site", "applicator", "visit"
    ):  # fmt: skip
        assert body[key] == getattr(app, key)
    assert private["customer"] == "M. Okafor"
