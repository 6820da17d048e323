"""A generated year of 10,000 entries: every total of every form again by another path.

The other path is pandas over the ledger's exported lines: integers summed by unit and denominator,
factors written here from their definitions, labels read from their files. Equal to the last digit,
on both engines.
"""

from __future__ import annotations

import json
import random
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pandas as pd
import pytest

from ledger.flow.judging import booked
from ledger.flow.periods import summarise_period
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from ledger.values.amount import Used
from ledger.values.body import application_body
from ledger.values.period import Period
from ledger.values.sealed import EntryKind, NewEntry
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

ENTRIES = 10_000
SEED = 20260114

# Definitions: avoirdupois (15 U.S.C. 205; NIST Handbook 44, appendix C): 16 oz in a pound, a pound
# of 453.59237 g. Liquid: 128 fl oz, 8 pt, 4 qt in a gallon.
POUNDS = {"lb": Fraction(1), "oz": Fraction(1, 16), "g": Fraction(100000, 45359237)}
GALLONS = {
    "gal": Fraction(1), "qt": Fraction(1, 4), "pt": Fraction(1, 8), "fl oz": Fraction(1, 128),
}  # fmt: skip
COUNTIES = ("Placer", "Nevada", "Sierra")
KINDS = ("dwelling", "school", "child day care", "restaurant")


def year_of(database: str, folder: Path) -> Workspace:
    """A year of applications, one in a hundred amended and one in two hundred struck."""
    clock = SetClock(datetime(2027, 1, 5, tzinfo=UTC))
    firm = sample_workspace(folder, database, clock)
    done = record_sheet(firm, "first.csv", sheet({}), "renner")
    with firm.store.reading() as reader:
        pattern = booked(reader.entry(done.outcomes[0].seq or 0)).use
    chance = random.Random(SEED)
    products = [file.product for file in firm.book.labels if file.product]
    with firm.store.writing() as writer:
        written: list[tuple[int, NewEntry]] = []
        for number in range(ENTRIES - 1):
            product = chance.choice(products)
            units = tuple(POUNDS) if product.weighed else tuple(GALLONS)
            used = Used(
                chance.randint(1, 10**9), chance.choice((1, 2, 4, 10, 16, 100, 10**9)),
                chance.choice(units),
            )  # fmt: skip
            use = replace(
                pattern, date=date(2026, 1, 1) + timedelta(days=chance.randrange(365)),
                product=product.id, product_key=product.key, product_name=product.name,
                label=product.digest, used=used, county=chance.choice(COUNTIES),
                site_kind=chance.choice(KINDS), visit=f"v{chance.randrange(4000)}",
            )  # fmt: skip
            body, private = application_body(use)
            body.update(
                identity=f"{number:032x}", copy=1, own=None, sheet="0" * 64, late=None,
                clears=None, origin={"file": "year", "row": number, "page": None},
            )  # fmt: skip
            new = NewEntry(EntryKind.APPLICATION, body, private=json.dumps(private), by="renner")
            written.append((writer.append(new).seq, new))
        for seq, new in chance.sample(written, 150):
            if chance.random() < 1 / 3:
                gone = {"date": new.body["date"], "site": new.body["site"]}
                writer.append(NewEntry(EntryKind.STRIKE, gone, by="calloway", replaces=seq))
            else:
                used_now = {**new.body["used"], "numerator": chance.randint(1, 10**9)}
                mended = {**new.body, "used": used_now}
                writer.append(replace(new, kind=EntryKind.AMENDMENT, body=mended, replaces=seq))
    return firm


@pytest.fixture
def firm(database: str, tmp_path: Path) -> Iterator[Workspace]:
    made = year_of(database, tmp_path / "firm")
    yield made
    made.store.close()


def exported(firm: Workspace) -> pd.DataFrame:
    """The current applications, from the lines of the ledger alone; integers stay integers."""
    with firm.store.reading() as reader:
        lines = [json.loads(text) for text in reader.texts_since(0)]
    replaced = {line["replaces"] for line in lines}
    rows = [
        {**line["body"], **line["body"]["used"], "seq": line["seq"]}
        for line in lines
        if line["kind"] in {"application", "amendment"} and line["seq"] not in replaced
    ]
    frame = pd.DataFrame(rows)
    frame["numerator"] = frame["numerator"].astype(object)
    frame["month"] = [int(text[5:7]) for text in frame["date"]]
    return frame


def labels(firm: Workspace) -> dict[str, dict]:
    """The label files by registration or id, as TOML says them."""
    found = {}
    for path in (firm.root / "rules" / "labels").glob("*.toml"):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        found[table["product"].get("registration", table["id"])] = table
    return found


def weighed(frame: pd.DataFrame, gravity: str | None) -> tuple[Fraction, Fraction | None]:
    """The exact total (lb or gal) and the pounds of one product, summed by integers."""
    grouped = frame.groupby(["unit", "denominator"])["numerator"].agg(sum)
    total = Fraction()
    liquid = False
    for (unit, denominator), numerator in grouped.items():
        liquid = unit in GALLONS
        total += Fraction(int(numerator), int(denominator)) * {**POUNDS, **GALLONS}[unit]
    if not liquid:
        return total, total
    if gravity is None:
        return total, None
    # 8.33 lb a gallon and four decimals: inferred from the state's published rows.
    pounds = total * Fraction("8.33") * Fraction(gravity)
    return total, Fraction(round(pounds * 10**4), 10**4)


def pieces(firm: Workspace, frame: pd.DataFrame, keys: list[str]) -> dict[tuple, tuple]:
    """By key: exact total, pounds, lines and visits; minimum risk products left out if asked."""
    known = labels(firm)
    found = {}
    for key, part in frame.groupby(keys):
        product = known[part["product_key"].iloc[0]]["product"]
        total, pounds = weighed(part, product.get("specific_gravity"))
        found[key] = (total, pounds, len(part), part["visit"].nunique())
    return found


def in_base(value: Fraction, unit: str) -> Fraction:
    return value * {**POUNDS, **GALLONS}[unit]


def test_every_form_of_the_year_agrees_to_the_last_digit(firm: Workspace) -> None:
    frame = exported(firm)
    known = labels(firm)
    small = {key for key, table in known.items() if table["product"]["class"] == "minimum risk"}
    reported = frame[~frame["product_key"].isin(small)]
    assert len(frame) > ENTRIES - 100

    # California, month by month, county by county.
    wanted = pieces(firm, reported, ["month", "county", "product_key"])
    told = {}
    for month in range(1, 13):
        summary = summarise_period(firm, Period(2026, month), "us-ca", "us-ca-monthly")[0]
        for line in summary.lines:
            told[month, line.county, line.product_key] = (
                in_base(line.total, line.unit), line.pounds, line.applications, line.visits,
            )  # fmt: skip
    assert told == wanted
    assert len(told) > 200

    # The year of the state by active ingredient.
    summary = summarise_period(firm, Period(2026), "us-ca", "ingredients-year")[0]
    pounds: dict[str, Fraction] = {}
    times: dict[str, int] = {}
    for (key,), (_, weight, lines, _) in pieces(firm, frame, ["product_key"]).items():
        for part in known[key]["ingredient"]:
            if not part.get("synergist") and weight is not None:
                name = part["name"]
                share = Fraction(part["per_cent"]) / 100
                pounds[name] = pounds.get(name, Fraction()) + weight * share
                times[name] = times.get(name, 0) + lines
    assert {use.ingredient: use.known for use in summary.ingredients if use.known} == pounds
    told_times = {u.ingredient: u.applications for u in summary.ingredients if u.known}
    assert {name: told_times[name] for name in times} == times

    # Groups, added up from single applications.
    summary = summarise_period(firm, Period(2026), "us-ca", "plain-year")[0]
    groups = pieces(firm, frame, ["county", "site_kind", "product_key"])
    by_name = {table["product"]["name"]: key for key, table in known.items()}
    assert {
        (row.texts["county"], row.texts["site_kind"], by_name[row.texts["product"]]): (
            in_base(row.total or Fraction(), row.unit),
            row.pounds,
            row.applications,
            row.visits,
        )
        for row in summary.rows
    } == groups

    # Single applications at schools and day care: each as it was recorded.
    summary = summarise_period(firm, Period(2026), "us-ca", "us-ca-school")[0]
    single = frame[frame["site_kind"].isin(["school", "child day care"])]
    assert {row.entries[0]: in_base(row.total or Fraction(), row.unit) for row in summary.rows} == {
        int(seq): Fraction(int(n), int(d)) * {**POUNDS, **GALLONS}[unit]
        for seq, n, d, unit in zip(
            single["seq"], single["numerator"], single["denominator"], single["unit"], strict=True
        )
    }


def test_the_other_path_sees_a_difference() -> None:
    frame = pd.DataFrame(
        {"unit": ["oz", "oz"], "denominator": [10, 10], "numerator": [1, 2]}, dtype=object
    )
    assert weighed(frame, None)[0] == Fraction(3, 160)
    assert weighed(frame, None)[0] != Fraction(0.1) / 16 + Fraction(0.2) / 16  # floats would miss
    assert Decimal("0.01875") == Decimal(3) / 160
