"""The law of the place: fields that a record must hold, and registrations that it asks for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache

from ledger.checks.case import Case
from ledger.checks.manners import manners
from ledger.checks.people import certified_number, number_of
from ledger.checks.say import Tools, unverified
from ledger.rulebook.model import Requirement, RuleFile
from ledger.rulebook.when import holds
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold

_HEADINGS = {
    "applicator_number": "applicator", "certified_number": "supervisor",
    "supervisor_number": "supervisor", "customer_address": "customer address",
    "site_kind": "site kind", "registration": "product", "rate": "extent",
    "area": "extent", "volume": "extent", "wind_direction": "wind",
    "ingredients": "product", "city": "address",
}  # fmt: skip
_WORDS = {
    "applicator_number": "licence number of the applicator",
    "certified_number": "licence number of the certified person",
    "supervisor_number": "licence number of the supervisor",
    "customer_address": "address of the customer", "site_kind": "site kind",
    "registration": "registration number", "start": "time of the application",
    "extent": "how much was treated", "zip": "ZIP code of the site", "city": "town of the site",
    "dilution": "how the mix was made", "rate": "rate or strength",
    "ingredients": "active ingredients", "firm": "name of the firm",
    "firm_licence": "licence number of the firm", "area": "area treated",
    "volume": "space treated", "wind_direction": "direction of the wind",
}  # fmt: skip


_GIVEN: Mapping[str, Callable[[Case], bool]] = {
    "address": lambda case: bool(case.site.address.street or case.site.typed),
    "registration": lambda case: case.product is None or case.product.registration is not None,
    "amount": lambda case: bool(case.use.amount.text or case.use.used.numerator),
    "applicator_number": lambda case: bool(
        case.use.licence or number_of(case, case.applicator, "")
    ),
    "supervisor_number": lambda case: bool(
        case.use.supervisor_licence or number_of(case, case.supervisor, "")
    ),
    "certified_number": lambda case: bool(certified_number(case)),
    "extent": lambda case: bool(case.use.extent.measures),
    "avoided": lambda case: case.use.avoided_said != "blank",
    "prepared": lambda case: case.use.prepared_said != "blank",
    "temperature": lambda case: case.use.weather.temperature is not None,
    "wind": lambda case: case.use.weather.wind is not None,
    "rain": lambda case: case.use.weather.rain is not None,
    "product": lambda case: bool(case.use.product or case.use.product_key),
    "start": lambda case: case.use.start is not None,
    "end": lambda case: case.use.end is not None,
    "zip": lambda case: bool(case.site.address.zip),
    "city": lambda case: bool(case.site.address.city),
    "dilution": lambda case: case.use.dilution is not None,
    # The rate follows from the strength of the mix, or from the amount and what it covered.
    "rate": lambda case: case.use.dilution is not None or bool(case.use.extent.measures),
    "ingredients": lambda case: case.product is None or bool(case.product.ingredients),
    "area": lambda case: case.use.extent.get("area") is not None,
    "volume": lambda case: case.use.extent.get("volume") is not None,
    "wind_direction": lambda case: bool(case.use.weather.wind_from),
    "firm": lambda case: bool(case.firm.name),
    "firm_licence": lambda case: bool(case.firm.licence),
}
"""The fields that are more than a text or a list of the application."""


def given(case: Case, field: str) -> bool:
    """Say whether the record holds a field of the law."""
    return case.ask(_GIVEN.get(field) or _filled(field))


@cache
def _filled(field: str) -> Callable[[Case], bool]:
    """Return the question whether a field of the application is filled; always the same one."""
    return lambda case: bool(getattr(case.use, field))


def check_requirement(case: Case, rule: Requirement, tools: Tools) -> Iterator[Finding]:
    """Judge that the record holds every field of one of the rule's groups.

    Where it holds them the condition does not matter; where it does not and the condition
    cannot be told, that is what is said.
    """
    if not case.in_force(rule.span):
        return
    if set(rule.elsewhere) & set(case.firm.keeps):
        return
    whole = any(all(given(case, field) for field in group) for group in rule.groups)
    if whole:
        yield from _said_otherwise(case, rule, tools)
        return
    lacking = [[field for field in group if not given(case, field)] for group in rule.groups]
    applies = holds(rule.when, tools.facts, tools.units)
    if applies is False:
        return
    nearest = min(lacking, key=len)
    listed = " or ".join(" and ".join(_WORDS.get(f, f) for f in fields) for fields in lacking)
    kind, text = Kind.MISSING, f"the record lacks {listed}: {rule.says}"
    if applies is None:
        kind, text = Kind.UNKNOWN, f"cannot tell whether the record needs {listed}: {rule.says}"
    if not rule.read.decides:
        kind, text = Kind.ADVICE, f"{unverified(rule.read)}{text}"
    column = _HEADINGS.get(nearest[0], nearest[0])
    yield Finding(
        kind, f"FIELD-{nearest[0].upper().replace('_', '-')}", rule.name, text, column,
        f"amend {column}", (rule.ref,), rule.blocks and kind is Kind.MISSING,
    )  # fmt: skip


def _said_otherwise(case: Case, rule: Requirement, tools: Tools) -> Iterator[Finding]:
    """Judge that a field which the record holds is said as the law wants it."""
    if not (rule.words or rule.units or rule.longest is not None or rule.refused or rule.not_as):
        return
    field = rule.groups[0][0]
    applies = holds(rule.when, tools.facts, tools.units)
    if applies is False:
        return
    for code, wrong, way_out in manners(case, rule):
        kind, text = Kind.MISSING, f"{wrong}: {rule.says}"
        if applies is None:
            kind, text = Kind.UNKNOWN, f"cannot tell whether this rule applies: {text}"
        if not rule.read.decides:
            kind, text = Kind.ADVICE, f"{unverified(rule.read)}{text}"
        column = _HEADINGS.get(field, field)
        yield Finding(
            kind, code, rule.name, text, column, way_out, (rule.ref,),
            rule.blocks and kind is Kind.MISSING,
        )  # fmt: skip


def _year(case: Case) -> int:
    return case.use.date.year


def check_registered(case: Case, law: RuleFile) -> Iterator[Finding]:
    """Advise where the firm file shows no registration with the county of the work.

    Asked only where the law has a report per registered county.
    """
    duty = next((duty for duty in law.reports if duty.per == "county"), None)
    use, firm = case.use, case.firm
    if duty is None or not case.in_force(duty.span):
        return
    year = case.ask(_year)
    registered = any(
        item.jurisdiction == use.jurisdiction
        and fold(item.county) == fold(use.county)
        and item.year == year
        for item in firm.registrations
    )
    if not registered:
        text = (
            f"useledger.toml shows no registration with {use.county or 'the'} County"
            f" for {year}; reports are owed where the firm is registered"
        )
        yield Finding(
            Kind.ADVICE, "LAW-REGISTRATION", "county-registration", text, "county",
            "enter the registration in useledger.toml", (duty.ref,),
        )  # fmt: skip


def not_on_file(case: Case) -> Finding:
    """Return the finding that nothing is known of the law of this place."""
    place = case.use.jurisdiction or case.site.address.state or "this place"
    text = f"cannot tell what the law asks for: no rule file describes {place}"
    way_out = "add a jurisdiction file, as rules/README.md shows"
    return Finding(Kind.UNKNOWN, "LAW-NOT-ON-FILE", "law-not-on-file", text, "state", way_out)
