"""Cases built by hand for the checks: the shipped rules, the invented firm, one application."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from fractions import Fraction
from functools import cache
from typing import Any

from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.checks.judge import judge
from ledger.checks.say import Tools
from ledger.rulebook.book import Book
from ledger.rulebook.model import Limit, Read, Shape
from ledger.rulebook.reading import read_book
from ledger.rulefile import gather
from ledger.values.amount import Amount, Basis, Dilution, Quantity, Strength, Used
from ledger.values.entry import Application, Avoided, Weather
from ledger.values.extent import Extent
from ledger.values.finding import Finding, Kind, RuleRef
from ledger.values.site import Address, Site
from tests.house import ROOT

GRAM = Fraction(45359237, 1600000)  # grams in an ounce, by the pound of 1959


@cache
def book() -> Book:
    """Return the shipped rules with the firm of the demonstration."""
    gathered = gather(ROOT / "rules", None, ROOT / "ledger" / "demo" / "useledger.toml")
    found = read_book(gathered.files)
    assert not found.faults
    return found


def q(value: Any, unit: str) -> Quantity:
    return Quantity(Fraction(value), unit)


def amount(value: Any, unit: str, basis: Basis = Basis.PRODUCT) -> Amount:
    return Amount(f"{value} {unit}", q(value, unit), basis)


def measures(**said: Any) -> Extent:
    """Return an extent: ``measures(length=(180, "ft"), voids=8)``."""
    pairs = []
    for name, value in said.items():
        value_unit = value if isinstance(value, tuple) else (value, "each")
        pairs.append((name.replace("_", " "), q(*value_unit)))
    return Extent("said", tuple(pairs))


def rate(product: Any, unit: str = "fl oz", mix: str = "gal") -> Dilution:
    return Dilution("rate", Strength.RATE, None, q(product, unit), q(1, mix))


def per_cent(value: str) -> Dilution:
    return Dilution(f"{value} % ai", Strength.INGREDIENT_PER_CENT, Fraction(value))


SITES = {
    "okafor": Site("S0001", Address("118 TOLLHOUSE LN", "", "AUBURN", "CA", "95603"), "Placer",
                   "us-ca", "dwelling", "America/Los_Angeles"),
    "voss": Site("S0003", Address("64 IDAHO BAR RD", "", "GRASS VALLEY", "CA", "95945"), "Nevada",
                 "us-ca", "dwelling", "America/Los_Angeles"),
}  # fmt: skip


def use(product: str = "ridgeline-dust", **said: Any) -> Application:
    """Return an application that breaks nothing but what ``said`` makes it break.

    ``used`` follows the amount; with a mix it is worked out exactly, as the ledger would before
    rounding.
    """
    day = said.get("date", date(2026, 1, 14))
    label = book().product(product, day)
    assert label is not None
    site = SITES[said.pop("site", "okafor")]
    base: dict[str, Any] = {
        "date": day, "start": time(8), "end": time(9), "end_day": 0, "applicator": "renner",
        "licence": "FR 90427", "customer": "M. Okafor", "site": site.key,
        "jurisdiction": site.jurisdiction, "county": site.county, "site_kind": "dwelling",
        "site_code": "10", "product": label.id, "product_key": label.key,
        "product_name": label.name, "label": label.digest, "amount": amount("1/4", "oz"),
        "method": "void", "setting": "indoor", "places": ("wall void",), "pests": ("ants",),
        "avoided_said": "none present", "extent": measures(voids=8), "notice": "before",
        "weather": Weather(q(31, "F"), q(4, "mph"), "N", rain=False),
    } | said  # fmt: skip
    if base["applicator"] == "marsh":
        base["licence"] = "RA 90588"
    if base["applicator"] == "aster":
        base["licence"] = ""
    if base.get("supervisor") == "renner":
        base["supervisor_licence"] = "FR 90427"
    if "used" not in base:
        base["used"] = _used(base["amount"], base.get("dilution"))
    if base.get("avoided"):
        base["avoided_said"] = "given"
    if base.get("prepared"):
        base["prepared_said"] = "given"
    return Application(**base)


def _used(typed: Amount, dilution: Dilution | None) -> Used:
    value, unit = typed.quantity.value, typed.quantity.unit
    if typed.basis is Basis.MIX:
        assert dilution is not None
        gallons = value if unit == "gal" else value / 128
        if dilution.product is not None:
            value = gallons * dilution.product.value
        else:
            assert dilution.value is not None
            value = gallons * 128 * dilution.value / 100 / (Fraction("0.065") * Fraction("1.021"))
        value, unit = Fraction(round(value * 10**9), 10**9), "fl oz"
        return Used(value.numerator, value.denominator, unit, derived=True)
    return Used(value.numerator, value.denominator, unit)


def case(line: Application, *others: Application, **changes: Any) -> Case:
    site = next(site for site in SITES.values() if site.key == line.site)
    product = changes.pop("product", book().product(line.product, line.date, line.lot))
    doubt = changes.pop("doubt", None)
    firm = changes.pop("firm", book().firm)
    return Case(line, product, replace(site, doubt=doubt), firm, book().words, others)


def decided(findings: tuple[Finding, ...]) -> list[str]:
    """Return kind and name of every breach, missing and unknown finding, sorted."""
    return sorted(f"{f.kind} {f.name}" for f in findings if f.kind is not Kind.ADVICE)


def judged(line: Application, *others: Application, **changes: Any) -> list[str]:
    return decided(judge(case(line, *others, **changes), book()))


def limit(shape: Shape, **said: Any) -> Limit:
    """Return a limit made by hand, on a label in hand."""
    ref = RuleRef("labels/made.toml", 7, "limit[1]", "made", str(Read.LABEL))
    base: dict[str, Any] = {"says": "As made.", "read": Read.LABEL, "ref": ref} | said
    return Limit(base.pop("name", "made"), shape, **base)


def tools(of: Case, prefix: str = "LABEL") -> Tools:
    return Tools(book().units, facts_of(of), prefix)


def avoided(place: str, reason: str = "", feet: Any = None) -> Avoided:
    return Avoided(place, reason, None if feet is None else q(feet, "ft"))
