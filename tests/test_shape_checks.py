"""What must hold of every shape of limit: with more, in other units, and with less said."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from fractions import Fraction
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.flow.examples import staged
from ledger.rulebook.book import Book
from ledger.values.amount import Amount, Quantity, Used
from ledger.values.entry import Application, Weather
from ledger.values.extent import Extent
from ledger.values.finding import Finding, Kind
from tests.shape_labels import trial_book

exact = settings(max_examples=8, deadline=None)


@cache
def trials() -> tuple[tuple[str, Case, Book], ...]:
    """Return every example of every trial label, with its name, ready to be judged."""
    found = []
    for file in trial_book().labels:
        alone = replace(trial_book(), labels=(file,))
        found += [(f"{file.id}: {e.name}", *staged(alone, file, e)) for e in file.examples]
    return tuple(found)


def own(case: Case, book: Book) -> list[Finding]:
    """Return the findings of the trial label's own limit."""
    names = {limit.name for limit in book.labels[0].limits}
    return [finding for finding in judge(case, book) if finding.name in names]


def verdict(case: Case, book: Book) -> str:
    """Return what the label's limit says of a case: a breach before a doubt, a doubt before a
    pass; something missing is a doubt."""
    kinds = {finding.kind for finding in own(case, book)}
    if Kind.BREACH in kinds:
        return "breach"
    return "cannot tell" if kinds & {Kind.UNKNOWN, Kind.MISSING} else "pass"


def more(use: Application, factor: Fraction) -> Application:
    """Return a line that put down so many times as much."""
    typed, used = use.amount.quantity, use.used
    value = used.fraction * factor
    return replace(
        use,
        amount=replace(use.amount, quantity=Quantity(typed.value * factor, typed.unit)),
        used=replace(used, numerator=value.numerator, denominator=value.denominator),
    )


@pytest.mark.parametrize("number", range(0, 300, 12))
@exact
@given(factor=st.fractions(min_value=1, max_value=50, max_denominator=20))
def test_more_never_mends_the_breach_of_a_maximum(number: int, factor: Fraction) -> None:
    """A label that also sets a minimum, and makes less than it a breach, is left out."""
    for _name, case, book in trials()[number : number + 12]:
        if any(limit.below_breaks for limit in book.labels[0].limits):
            continue
        if verdict(case, book) == "breach":
            assert verdict(replace(case, use=more(case.use, factor)), book) == "breach"


OTHER_UNITS = {
    "oz": "g", "g": "lb", "lb": "kg", "fl oz": "mL", "mL": "qt", "gal": "L", "sq ft": "sq m",
    "sq in": "sq yd", "ft": "cm", "in": "yd", "acre": "ha", "cu ft": "cu yd", "mph": "km/h",
    "F": "C",
}  # fmt: skip


def converted(quantity: Quantity | None, book: Book) -> Quantity | None:
    if quantity is None or quantity.unit not in OTHER_UNITS:
        return quantity
    return book.units.convert(quantity, OTHER_UNITS[quantity.unit])


def in_other_units(use: Application, book: Book) -> Application:
    """Return the same line with every measure in another unit."""

    def other(quantity: Quantity) -> Quantity:
        found = converted(quantity, book)
        assert found is not None
        return found

    used = other(use.used.quantity)
    dilution = use.dilution
    if dilution is not None and dilution.product is not None and dilution.mix is not None:
        dilution = replace(dilution, product=other(dilution.product), mix=other(dilution.mix))
    weather = use.weather
    return replace(
        use,
        amount=replace(use.amount, quantity=other(use.amount.quantity)),
        used=Used(used.value.numerator, used.value.denominator, used.unit, use.used.derived,
                  use.used.estimate),
        dilution=dilution,
        extent=Extent(use.extent.text, tuple((n, other(q)) for n, q in use.extent.measures)),
        avoided=tuple(replace(a, distance=converted(a.distance, book)) for a in use.avoided),
        weather=Weather(
            converted(weather.temperature, book), converted(weather.wind, book),
            weather.wind_from, weather.rain,
        ),
    )  # fmt: skip


def test_other_units_never_change_a_verdict() -> None:
    changed = 0
    for name, case, book in trials():
        other = replace(
            case,
            use=in_other_units(case.use, book),
            others=tuple(in_other_units(line, book) for line in case.others),
        )
        changed += other.use != case.use
        assert verdict(other, book) == verdict(case, book), name
        assert sorted(f.kind for f in own(other, book)) == sorted(f.kind for f in own(case, book))
    assert changed > 230


BLANK = {
    "method": "", "setting": "", "site_kind": "", "lot": "", "dilution": None, "mix_group": "",
    "places": (), "pests": (), "extent": Extent(""), "equipment": "", "weather": Weather(),
    "notice": "",
}  # fmt: skip


def without(use: Application) -> list[tuple[str, Application]]:
    """Return the line with one thing at a time not said."""
    found = [
        (name, replace(use, **{name: blank}))  # type: ignore[arg-type]
        for name, blank in BLANK.items()
        if getattr(use, name) != blank
    ]
    if use.avoided_said != "blank":
        found.append(("avoided", replace(use, avoided=(), avoided_said="blank")))
    if use.prepared_said != "blank":
        found.append(("prepared", replace(use, prepared=(), prepared_said="blank")))
    return found


ONE_UNLESS_SAID = ("fell-structure: two structures are said", "extent")
"""A site is one structure unless the line says more: without that word the default holds again."""


def test_saying_less_never_makes_a_pass_a_breach_nor_a_doubt_a_pass() -> None:
    """A pass stays or cannot be told; what cannot be told never becomes a pass."""
    tried = 0
    for name, case, book in trials():
        before = verdict(case, book)
        for what, less in without(case.use):
            after = verdict(replace(case, use=less), book)
            tried += 1
            if (name, what) != ONE_UNLESS_SAID and before == "pass":
                assert after != "breach", (name, what)
            if before == "cannot tell":
                assert after != "pass", (name, what)
    assert tried > 1000


def test_a_blank_answer_is_no_answer() -> None:
    """Taking away what a limit measures leaves no shape with a pass, unless it needs nothing."""
    asked = {
        "fell-granule": "extent", "gill-trench": "extent", "haze-space": "extent",
        "haze-fogger": "extent", "haze-floor": "extent", "fold-dab": "extent",
        "fold-spacing": "extent", "gill-strength": "dilution", "gill-dilution": "dilution",
        "rill-patch": "extent", "rill-height": "extent", "rill-share": "extent",
        "gale-wind": "weather", "gale-rain": "weather", "gale-soil": "prepared",
        "gale-before": "prepared", "ford-buffer": "avoided", "ford-allowed": "setting",
        "ford-prohibited": "equipment", "ford-off": "places", "holm-prepare": "prepared",
        "holm-reentry": "prepared", "holm-worn": "prepared", "ember-food": "places",
        "ember-tank": "mix_group", "mere-rolling": "extent",
    }  # fmt: skip
    for name, case, book in trials():
        label, _, example = name.partition(": ")
        if label in asked and "passing" in example:
            (less,) = (line for what, line in without(case.use) if what == asked[label])
            assert verdict(replace(case, use=less), book) == "cannot tell", name


@exact
@given(
    parts=st.lists(st.integers(min_value=1, max_value=40), min_size=1, max_size=6),
    order=st.randoms(use_true_random=False),
)
def test_a_total_does_not_depend_on_how_it_is_split_or_in_which_order(parts, order) -> None:
    """Eight per cent of 125 g are the 10 g that one address may have in a year."""
    found = {n.partition(": ")[0]: (c, b) for n, c, b in trials() if "passing" in n}
    case, book = found["mere-year"]
    grams = [Quantity(Fraction(part * 10), "g") for part in parts]
    lines = [
        replace(
            case.use, date=date(2026, 1, 1 + place), visit=f"v{place}",
            amount=Amount("said", q, case.use.amount.basis),
            used=Used(q.value.numerator, q.value.denominator, "g"),
        )
        for place, q in enumerate(grams)
    ]  # fmt: skip
    *before, last = lines
    order.shuffle(before)
    broken = sum(parts) * 10 > 125
    judged = replace(case, use=last, others=tuple(before))
    assert verdict(judged, book) == ("breach" if broken else "pass")


def test_the_fields_of_a_line_that_may_be_blank_are_all_tried() -> None:
    tried = {*BLANK, "avoided", "avoided_said", "prepared", "prepared_said"}
    core = {
        "date", "start", "end", "end_day", "applicator", "licence", "supervisor",
        "supervisor_licence", "customer", "customer_address", "site", "jurisdiction", "county",
        "site_code", "product", "product_key", "product_name", "label", "amount", "used", "line",
        "note", "visit",
    }  # fmt: skip
    assert {field.name for field in fields(Application)} == tried | core
